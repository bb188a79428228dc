"""Reports to owners: opened where the cause is written down, open until the owner was told."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest

from tests.rolling import Rolling
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Incident, Owner, OwnerMarkCheck, OwnerReport, Picture, StoredFile
from tooling.queries.owner_reports import report_list, report_page
from tooling.services import (
    corrections,
    holds,
    owner_marks,
    owner_reports,
    pieces,
    readings,
    scans,
    stock,
)
from tooling.services.carts import move_cart
from tooling.services.movements import move_pieces
from tooling.services.scan_moves import ScanIn

pytestmark = pytest.mark.django_db
TOP = (1, "top", 1)
MM = 1_000_000


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    shop = Rolling(standing_world)
    shop.orn = Owner.objects.create(code="ORN", name="Orn & Sons")
    shop.roll, shop.own = shop.pieces[TOP], shop.pieces[1, "bottom", 1]
    shop.roll.owner = shop.orn
    shop.roll.save()
    shop.lost = standing_world.place("Lost", kind="lost")
    return shop


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


@pytest.fixture
def report(shop, crew, at):
    return owner_reports.report(
        by=crew, at=at, piece=shop.roll, kind="damage", what_happened="dropped"
    )


def refused(code, call, *args, **kwargs):
    with pytest.raises(ToolingError) as problem:
        call(*args, **kwargs)
    assert problem.value.code == code, problem.value
    return problem.value


def kinds():
    return list(OwnerReport.objects.order_by("pk").values_list("kind", flat=True))


def what_became(of=None):
    row = of or OwnerReport.objects.get()
    return [note.what for note in report_page(row.pk).notes]


# Opened where it is owed.


def test_a_customers_piece_that_is_lost_is_reported_once_and_the_shops_own_never(shop, crew, at):
    move_pieces(by=crew, at=at, pieces=[shop.roll, shop.own], to=shop.lost)
    bin_in_there = shop.world.place("Corner", kind="shelf", parent=shop.lost)
    move_pieces(by=crew, at=at, pieces=[shop.roll], to=bin_in_there)
    report = OwnerReport.objects.get()
    assert (report.owner, report.piece, report.kind) == (shop.orn, shop.roll, "loss")
    assert (report.opened_at, report.by) == (at, crew)


def test_a_scan_to_the_lost_reports_it_and_a_scan_elsewhere_notes_that_it_is_found(shop, crew, at):
    def scan(to, minutes):
        then = at + timedelta(minutes=minutes)
        one = ScanIn(id=uuid.uuid4(), happened_at=then, to=to.code, code=shop.roll.code)
        scans.record_batch(by=crew, at=then, device="gate", device_now=then, scans=[one])

    scan(shop.lost, 1)
    scan(shop.rack, 2)
    row = report_list().rows[0]
    assert (row.is_open, row.is_found, what_became()) == (True, True, ["found"])
    scan(shop.lost, 3)
    assert kinds() == ["loss", "loss"]


def test_a_slip_to_the_lost_that_is_undone_is_settled_and_nobody_need_be_told(shop, crew, at):
    (slip,) = move_pieces(by=crew, at=at, pieces=[shop.roll], to=shop.lost)
    corrections.undo(by=crew, at=at + timedelta(minutes=1), movement=slip)
    assert (what_became(), report_list(only_open=True).rows) == (["settled"], ())


def test_a_cart_that_is_lost_reports_all_of_the_customers_on_it(shop, crew, at):
    line = shop.world.stock(shop.drawings[TOP], shop.cart, 4, owner=shop.orn)
    move_pieces(by=crew, at=at, pieces=[shop.roll, shop.own], to=shop.cart)
    move_cart(by=crew, at=at, cart=shop.cart, to=shop.lost)
    rows = OwnerReport.objects.order_by("pk")
    assert [(row.piece, row.stock_line, row.quantity) for row in rows] == [
        (shop.roll, None, 1),
        (None, line, 4),
    ]
    move_cart(by=crew, at=at + timedelta(hours=1), cart=shop.cart, to=shop.rack)
    assert what_became(rows[0]) == ["found"]


def test_counting_fewer_of_a_customers_bin_reports_how_many_are_missing(shop, attendant, at):
    line = shop.world.stock(shop.drawings[TOP], shop.rack, 9, owner=shop.orn)
    wrong = stock.count(by=attendant, at=at, line=line, counted=7)
    report = OwnerReport.objects.get()
    assert (report.stock_line, report.quantity, report.kind) == (line, 2, "loss")
    corrections.undo(by=attendant, at=at + timedelta(minutes=1), movement=wrong)
    assert what_became() == ["settled"]
    stock.count(by=attendant, at=at + timedelta(hours=1), line=line, counted=12)
    stock.move(by=attendant, at=at + timedelta(hours=2), line=line, quantity=3, to=shop.lost)
    assert list(OwnerReport.objects.values_list("quantity", flat=True)) == [2, 3]


def test_cracked_is_damage_and_below_least_is_unsuitable(shop, engineer, crew, at):
    pieces.edit_piece(by=engineer, at=at, piece=shop.roll, condition="cracked", reason="flange")
    pieces.edit_piece(by=engineer, at=at, piece=shop.own, condition="cracked")
    pieces.edit_piece(by=engineer, at=at, piece=shop.roll, condition="chipped")
    measure = {"by": crew, "piece": shop.roll, "dimension": "drive_diameter", "unit": "mm",
               "sure": True}  # fmt: skip
    readings.record_reading(**measure, at=at, value_nm=139 * MM)
    readings.record_reading(**measure, at=at + timedelta(minutes=1), value_nm=138 * MM)
    assert kinds() == ["damage", "unsuitable"]
    said = [row.what_happened for row in OwnerReport.objects.order_by("pk")]
    assert "flange" in said[0]
    assert "139" in said[1]


def test_lifting_a_hold_as_cracked_reports_the_damage(shop, engineer, at):
    holds.hold_piece(by=engineer, at=at, piece=shop.roll, reason="to be looked at")
    assert not OwnerReport.objects.exists()
    shop.roll.refresh_from_db()
    holds.lift_hold(by=engineer, at=at, piece=shop.roll, condition="cracked", reason="etched")
    assert kinds() == ["damage"]


def test_another_incident_is_another_damage(shop, crew, at, report):
    incident = Incident.objects.create(kind="crash", happened_at=at, at=at)
    again = {"by": crew, "at": at, "piece": shop.roll, "kind": "damage", "what_happened": "crash"}
    first = owner_reports.open_report(**again, incident=incident)
    assert owner_reports.open_report(**again, incident=incident) == first != report
    assert owner_reports.open_report(**{**again, "piece": shop.own}) is None


# By hand, and until the owner is told.


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"kind": "theft"}, "unknown_kind"),
        ({"what_happened": "  "}, "empty_text"),
        ({"what_happened": "x" * 401}, "long_text"),
        ({"quantity": 2}, "absurd_count"),
        ({"quantity": 0}, "absurd_count"),
        ({"piece": None}, "one_subject"),
        ({"piece": "own"}, "own_tooling"),
    ],
)
def test_what_is_no_report_is_refused(shop, crew, at, sent, code):
    asked = {"piece": shop.roll, "kind": "loss", "what_happened": "gone", **sent}
    if asked["piece"] == "own":
        asked["piece"] = shop.own
    refused(code, owner_reports.report, by=crew, at=at, **asked)
    assert not OwnerReport.objects.exists()


def test_it_is_open_until_somebody_says_when_and_whom_they_told(shop, attendant, at, report):
    tell = {"by": attendant, "report": report, "what": "told"}
    later = at + timedelta(hours=2)
    refused("empty_text", owner_reports.add_note, **tell, at=later, whom=" ")
    refused(
        "in_the_future", owner_reports.add_note,
        **tell, at=later, whom="J. Orn", happened_at=later + timedelta(seconds=1),
    )  # fmt: skip
    refused(
        "before_it_happened", owner_reports.add_note,
        **tell, at=later, whom="J. Orn", happened_at=at - timedelta(minutes=1),
    )  # fmt: skip
    for what in ("answer", "settled"):
        refused("owner_not_told", owner_reports.add_note, **{**tell, "what": what}, at=later)
    assert report_list(only_open=True).rows[0].id == report.pk
    owner_reports.add_note(**tell, at=later, whom="J. Orn by telephone", happened_at=at)
    owner_reports.add_note(**{**tell, "what": "answer"}, at=later, note="send it back")
    view = report_page(report.pk)
    assert (view.is_open, what_became()) == (False, ["told", "answer"])
    assert (view.notes[0].whom, view.notes[0].happened_at) == ("J. Orn by telephone", at)


def test_of_an_incident_the_owner_is_not_told_before_it_was(shop, attendant, crew, at):
    then = at - timedelta(days=1)
    incident = Incident.objects.create(kind="crash", happened_at=then, at=at)
    report = owner_reports.open_report(
        by=crew, at=at, piece=shop.roll, kind="damage", what_happened="crash", incident=incident
    )
    tell = {"by": attendant, "at": at, "report": report, "what": "told", "whom": "J. Orn"}
    early = then - timedelta(minutes=1)
    refused("before_it_happened", owner_reports.add_note, **tell, happened_at=early)
    owner_reports.add_note(**tell, happened_at=then)


def test_crew_report_but_do_not_tell_owners(shop, crew, viewer, at, report):
    with pytest.raises(NotAllowed):
        owner_reports.add_note(by=crew, at=at, report=report, what="told", whom="x")
    with pytest.raises(NotAllowed):
        owner_reports.report(by=viewer, at=at, piece=shop.roll, kind="loss", what_happened="x")


# The owner's mark.


def test_the_newest_look_for_the_owners_mark_stands(shop, crew, at):
    earlier = at - timedelta(days=1)
    look = {"by": crew, "at": at, "piece": shop.roll}
    owner_marks.check_mark(**look, is_there=True)
    owner_marks.check_mark(**look, is_there=False, checked_at=earlier)
    assert OwnerMarkCheck.objects.latest("checked_at").is_there
    refused("in_the_future", owner_marks.check_mark, **look, is_there=True,
            checked_at=at + timedelta(minutes=1))  # fmt: skip
    refused("own_tooling", owner_marks.check_mark, **{**look, "piece": shop.own}, is_there=True)


def test_the_picture_of_a_mark_is_of_that_piece(shop, crew, at):
    file = StoredFile.objects.create(sha256="0" * 64, content_type="x", size=1, stored_at=at)
    other = Picture.objects.create(
        file=file, small=file, width=1, height=1, piece=shop.own, at=at, by=crew
    )
    look = {"by": crew, "at": at, "piece": shop.roll, "is_there": True}
    refused("other_piece", owner_marks.check_mark, **look, picture=other)
    refused("long_text", owner_marks.check_mark, **look, note="x" * 201)
    assert not OwnerMarkCheck.objects.exists()


def test_marks_of_several_are_kept_all_or_none(shop, crew, at):
    second = shop.world.piece(shop.drawings[TOP], shop.rack, owner=shop.orn)
    both = {"by": crew, "at": at, "seen": {shop.roll.pk: True, second.pk: False, shop.own.pk: True}}
    refused("own_tooling", owner_marks.check_marks, **both, pieces=[shop.roll, shop.own])
    assert not OwnerMarkCheck.objects.exists()
    owner_marks.check_marks(**both, pieces=[shop.roll, second])
    assert OwnerMarkCheck.objects.count() == 2
