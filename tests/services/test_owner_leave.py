"""What owners allow: consent for other jobs, and leave to cut, send away and scrap."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.rolling import Rolling
from tooling.errors import NotAllowed, ToolingError
from tooling.models import (
    Approval,
    Change,
    Condition,
    Kit,
    Owner,
    Piece,
    Work,
)
from tooling.queries.kits import kit_page
from tooling.services import (
    approvals,
    corrections,
    kit_choices,
    kits,
    owners,
    pieces,
    scans,
    stock,
    work,
)
from tooling.services.carts import move_cart
from tooling.services.movements import move_pieces
from tooling.services.scan_moves import ScanIn

pytestmark = pytest.mark.django_db
TOP = (1, "top", 1)
MISSING = "owner_approval_missing"


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    """A rolling shop of which one customer owns the top roll of the first pass."""
    shop = Rolling(standing_world)
    shop.orn = Owner.objects.create(code="ORN", name="Orn & Sons")
    shop.quill = Owner.objects.create(code="QUIL", name="Quillmoor")
    shop.roll = shop.pieces[TOP]
    shop.roll.owner = shop.orn
    shop.roll.save()
    return shop


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


@pytest.fixture
def say(shop, attendant, at):
    """``say("given", kind="regrind", …)`` writes an owner's answer about the roll down."""

    def _say(answer, *, owner=None, kind="other_jobs", about=None, **more):
        more = {"dated_on": at.date(), "reference": "letter 7", **more}
        more.setdefault("pieces", [shop.roll] if about is None else about)
        return approvals.record_approval(
            by=attendant, at=at, owner=owner or shop.orn, kind=kind, answer=answer, **more
        )

    return _say


def refused(code, call, *args, **kwargs):
    """The error of this code that a call raises."""
    with pytest.raises(ToolingError) as problem:
        call(*args, **kwargs)
    assert problem.value.code == code, problem.value
    return problem.value


def seen(kit, at, spot=TOP):
    page = kit_page(kit.number, at=at)
    return next(v for v in page.positions if (v.pass_number, v.shaft, v.order) == spot)


def holds(kit, spot=TOP):
    row = kit.positions.get(pass_number=spot[0], shaft=spot[1], order=spot[2])
    return row.piece


# Consent for other jobs: kits, staging, substitutes, choosing, all from one rule.


def test_without_consent_no_kit_takes_a_customers_piece_for_another_job(shop, crew, at):
    kit = shop.kit(crew)
    assert (seen(kit, at).state, holds(kit)) == ("missing", None)


def test_the_customers_own_job_has_it_without_a_letter(shop, crew, at):
    kit = shop.kit(crew, customer=shop.orn)
    assert (seen(kit, at).state, holds(kit)) == ("to_fetch", shop.roll)


def test_consent_for_the_piece_opens_it_to_other_jobs_and_its_withdrawal_closes_it(
    shop, crew, say, at
):
    say("given")
    kit = shop.kit(crew)
    assert (seen(kit, at).state, holds(kit)) == ("to_fetch", shop.roll)
    version = Kit.objects.get(pk=kit.pk).version
    say("withdrawn", reference="mail of today")
    view = seen(kit, at)
    assert (view.state, "withdrew the consent on 2026-11-25" in view.reason) == ("held", True)
    assert Kit.objects.get(pk=kit.pk).version > version


def test_a_kit_that_has_it_on_its_cart_says_so_when_consent_ends(shop, crew, say, at):
    say("given")
    kit = shop.stage(crew, shop.kit(crew))
    assert seen(kit, at).state == "here"
    say("withdrawn")
    view = seen(kit, at)
    assert (view.state, "It lies with this kit: take it off" in view.reason) == ("held", True)


@pytest.mark.parametrize(("days", "state"), [(1, "held"), (2, "to_fetch")])
def test_consent_must_last_until_the_job_is_over(shop, crew, say, at, days, state):
    """The job starts tomorrow at 21:00 and runs eight hours, into the day after."""
    say("given")
    kit = shop.kit(crew, in_hours=36)
    say("given", until=at.date() + timedelta(days=days))
    assert seen(kit, at).state == state
    assert days == 2 or "ends on 2026-11-26" in seen(kit, at).reason


def test_a_withdrawal_counts_from_the_date_on_its_letter(shop, crew, say, at):
    say("given", dated_on=date(2026, 1, 1))
    ran = shop.kit(crew, in_hours=-72)
    later = shop.kit(crew, number="J2", in_hours=24)
    say("withdrawn", dated_on=at.date() - timedelta(days=1))
    assert (seen(ran, at).state, seen(later, at).state) == ("to_fetch", "held")


def test_a_new_question_takes_nothing_away(shop, crew, say, at):
    say("given")
    say("asked")
    assert seen(shop.kit(crew), at).state == "to_fetch"


def test_a_refusal_that_names_a_piece_goes_before_the_owners_general_word(shop, crew, say, at):
    shop.orn.consent_reference = "frame contract"
    shop.orn.save()
    kit = shop.kit(crew)
    assert seen(kit, at).state == "to_fetch"
    say("refused")
    assert (seen(kit, at).state, "refused it" in seen(kit, at).reason) == ("held", True)


def test_consent_for_everything_covers_pieces_and_bins(shop, crew, say, at):
    say("given", pieces=(), of_all=True)
    assert seen(shop.kit(crew), at).state == "to_fetch"


def test_the_same_rule_holds_for_staging_choosing_and_substitutes(shop, crew, say, at):
    spare = shop.world.piece(shop.drawings[TOP], shop.rack, owner=shop.orn)
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    position = kit.positions.get(pass_number=1, shaft="top")
    problem = refused(
        MISSING, kit_choices.choose, by=crew, at=at, kit=kit, position=position, piece=spare
    )
    assert "Orn & Sons" in problem.message
    say("given", about=[spare])
    kits.assemble(by=crew, at=at, kit=kit)
    assert holds(kit) == spare
    say("withdrawn", about=[spare])
    problem = refused(MISSING, move_pieces, by=crew, at=at, pieces=[spare], to=shop.cart)
    assert "withdrew the consent" in problem.message


def test_consent_of_the_owner_before_counts_no_more(shop, crew, engineer, say, at):
    say("given")
    kit = shop.kit(crew)
    owners.change_owner(by=engineer, at=at, pieces=[shop.roll], owner=shop.quill, reason="sold")
    view = seen(kit, at)
    assert (view.state, "Quillmoor" in view.reason) == ("held", True)


# Recording what owners say.


def test_a_letter_about_a_whole_copy_names_the_owners_pieces_and_no_others(shop, say, at):
    mine = approvals.pieces_of_copy(owner=shop.orn, copy=shop.copy)
    letter = SimpleUploadedFile("letter.pdf", b"%PDF-1.7 yes")
    given = say("given", kind="scrap", pieces=mine, letter=letter, answered_by="J. Orn")
    assert [row.piece for row in given.pieces.all()] == [shop.roll]
    assert (given.file_name, given.file.content_type) == ("letter.pdf", "application/pdf")
    problem = refused("not_this_owner", approvals.pieces_of_copy, owner=shop.quill, copy=shop.copy)
    assert "Quillmoor" in problem.message


def test_an_approval_for_another_owners_piece_is_refused_and_says_whose_it_is(shop, say):
    problem = refused("not_this_owner", say, "given", owner=shop.quill)
    assert (shop.roll.code in problem.message, "Orn & Sons" in problem.message) == (True, True)
    assert not Approval.objects.exists()


BAD = [
    ({"answer": "given", "reference": " "}, "empty_text"),
    ({"answer": "given", "reference": "x" * 121}, "long_text"),
    ({"answer": "given", "pieces": []}, "no_pieces"),
    ({"answer": "given", "dated_on": date(2026, 11, 26)}, "in_the_future"),
    ({"answer": "given", "until": date(2026, 11, 24)}, "ends_before_it_begins"),
    ({"answer": "withdrawn"}, "nothing_given"),
    ({"answer": "perhaps"}, "unknown_answer"),
    ({"answer": "given", "kind": "sell"}, "unknown_kind"),
    (
        {"answer": "given", "letter": SimpleUploadedFile("a.pdf", b"MZ\x00\x00")},
        "unknown_file_type",
    ),
    ({"answer": "given", "letter": SimpleUploadedFile("a.pdf", b"")}, "empty_file"),
]


@pytest.mark.parametrize(("sent", "code"), BAD, ids=[code for _sent, code in BAD])
def test_what_cannot_be_an_answer_is_refused_and_nothing_is_kept(shop, say, sent, code):
    sent = dict(sent)
    refused(code, say, sent.pop("answer"), **sent)
    assert not Approval.objects.exists()


def test_nobody_is_asked_about_the_shops_own(shop, say, world):
    own = shop.pieces[1, "bottom", 1]
    refused("own_tooling", say, "asked", owner=world.shop, about=[own])


@pytest.mark.parametrize("role", ["viewer", "crew"])
def test_who_deals_with_owners(shop, cast, at, role):
    with pytest.raises(NotAllowed):
        approvals.record_approval(
            by=cast[role], at=at, owner=shop.orn, kind="scrap", answer="asked",
            pieces=[shop.roll], dated_on=at.date(),
        )  # fmt: skip


# Regrind, transfer away, scrap.

GATES = [("grinder", "regrind"), ("customer", "transfer"), ("sister", "transfer"),
         ("scrap", "scrap")]  # fmt: skip


@pytest.mark.parametrize(("place", "kind"), GATES)
def test_a_customers_piece_goes_there_only_with_leave(shop, crew, say, at, place, kind):
    away = shop.world.place("Away", kind=place)
    shelf = shop.world.place("In there", kind="shelf", parent=away)
    problem = refused(MISSING, move_pieces, by=crew, at=at, pieces=[shop.roll], to=shelf)
    assert (problem.values["needed"], "Orn & Sons" in problem.message) == (kind, True)
    say("asked", kind=kind)
    refused(MISSING, move_pieces, by=crew, at=at, pieces=[shop.roll], to=shelf)
    say("given", kind=kind)
    move_pieces(by=crew, at=at, pieces=[shop.roll], to=shelf)
    move_pieces(by=crew, at=at, pieces=[shop.pieces[1, "bottom", 1]], to=shelf)
    say("withdrawn", kind=kind)
    move_pieces(by=crew, at=at, pieces=[shop.roll], to=away)
    assert Piece.objects.filter(place__in=[away, shelf]).count() == 2


def test_home_to_its_owner_it_may_always_go(shop, crew, at):
    theirs = shop.world.place("Orn's plant", kind="customer", owner=shop.orn)
    move_pieces(by=crew, at=at, pieces=[shop.roll], to=theirs)
    shop.roll.refresh_from_db()
    assert shop.roll.place == theirs


def scan(by, at, code, to, **more):
    batch = [ScanIn(id=uuid.uuid4(), happened_at=at, to=to, code=code, **more)]
    (result,) = scans.record_batch(by=by, at=at, device="gate", device_now=at, scans=batch)
    return result


def test_a_scan_is_refused_with_owner_and_need_and_kept_with_its_reason(shop, crew, at):
    scrap = shop.world.place("Scrap", kind="scrap")
    result = scan(crew, at, shop.roll.code, scrap.code)
    assert (result.code, "Orn & Sons" in result.message, "scrap it" in result.message) == (
        MISSING,
        True,
        True,
    )
    assert shop.roll.refused_scans.get().error_code == MISSING


def test_a_scan_from_the_day_when_leave_still_held_is_taken_later(shop, crew, say, at):
    grinder = shop.world.place("Grinder", kind="grinder")
    say("given", kind="regrind", dated_on=date(2026, 1, 1), until=at.date())
    tomorrow = at + timedelta(days=1)
    late = ScanIn(id=uuid.uuid4(), happened_at=at, to=grinder.code, code=shop.roll.code)
    (result,) = scans.record_batch(
        by=crew, at=tomorrow, device="gate", device_now=tomorrow, scans=[late]
    )
    assert result.status == "taken"


def test_a_whole_set_of_the_customers_does_not_go_to_the_grinder(shop, crew, at):
    Piece.objects.update(owner=shop.orn)
    grinder = shop.world.place("Grinder", kind="grinder")
    result = scan(crew, at, f"{shop.set.code}-A", grinder.code)
    assert (result.code, "Orn & Sons" in result.message) == (MISSING, True)
    assert not Piece.objects.filter(place=grinder).exists()


def test_of_a_mixed_set_the_customers_piece_stays_and_the_answer_says_why(shop, crew, at):
    grinder = shop.world.place("Grinder", kind="grinder")
    result = scan(crew, at, f"{shop.set.code}-A", grinder.code)
    assert (result.status, "Orn & Sons has not agreed" in result.message) == ("taken", True)
    assert Piece.objects.filter(place=grinder).count() == 3


def test_a_cart_goes_whole_or_not_at_all(shop, crew, say, at):
    away = shop.world.place("Lindqvist", kind="customer")
    other = shop.world.piece(shop.drawings[TOP], shop.cart, owner=shop.orn)
    move_pieces(by=crew, at=at, pieces=[shop.roll, shop.pieces[2, "top", 1]], to=shop.cart)
    problem = refused(MISSING, move_cart, by=crew, at=at, cart=shop.cart, to=away)
    assert "1 more" in problem.message
    assert scan(crew, at, shop.cart.code, away.code).code == MISSING
    say("given", kind="transfer", about=[shop.roll, other])
    move_cart(by=crew, at=at, cart=shop.cart, to=away)
    shop.cart.refresh_from_db()
    assert shop.cart.parent == away


def test_a_customers_bin_needs_leave_for_everything_of_theirs(shop, attendant, say, at):
    line = shop.world.stock(shop.drawings[TOP], shop.rack, 9, owner=shop.orn)
    scrap = shop.world.place("Scrap", kind="scrap")
    refused(MISSING, stock.scrap, by=attendant, at=at, line=line, quantity=1)
    refused(MISSING, stock.move, by=attendant, at=at, line=line, quantity=1, to=scrap)
    say("given", kind="scrap", pieces=(), of_all=True)
    stock.scrap(by=attendant, at=at, line=line, quantity=1)
    stock.move(by=attendant, at=at, line=line, quantity=1, to=scrap)
    line.refresh_from_db()
    assert line.count == 7


def test_undoing_a_move_asks_nobody(shop, crew, say, at):
    scrap = shop.world.place("Scrap", kind="scrap")
    say("given", kind="scrap")
    move_pieces(by=crew, at=at, pieces=[shop.roll], to=scrap)
    (back,) = move_pieces(by=crew, at=at, pieces=[shop.roll], to=shop.rack)
    say("withdrawn", kind="scrap")
    corrections.undo(by=crew, at=at, movement=back)
    shop.roll.refresh_from_db()
    assert shop.roll.place == scrap
    (again,) = move_pieces(by=crew, at=at, pieces=[shop.roll], to=shop.rack)
    refused(MISSING, corrections.undo, by=crew, at=at, movement=again, to=scrap)


@pytest.mark.parametrize("kind", ["regrind", "recontour", "face", "rebore", "sharpen"])
def test_work_that_cuts_needs_leave_for_its_day(shop, engineer, say, at, kind):
    record = {
        "by": engineer, "at": at, "piece": shop.roll, "kind": kind, "done_on": at.date(),
        "sizes": {"drive_diameter": (151_000_000, 150_500_000)},
    }  # fmt: skip
    problem = refused(MISSING, work.record_work, **record)
    assert "regrind it" in problem.message
    assert not Work.objects.exists()
    say("given", kind="regrind", dated_on=date(2026, 1, 1), until=date(2026, 11, 24))
    refused(MISSING, work.record_work, **record)
    first = work.record_work(**{**record, "done_on": date(2026, 11, 24)})
    say("withdrawn", kind="regrind")
    work.record_work(**{**record, "done_on": at.date(), "corrects": first})


@pytest.mark.parametrize("kind", ["polish", "remark"])
def test_care_needs_no_leave(shop, engineer, at, kind):
    work.record_work(by=engineer, at=at, piece=shop.roll, kind=kind, done_on=at.date())
    assert Work.objects.get().kind == kind


# Whose it is.


def test_changing_hands_is_on_record_with_its_reason(shop, engineer, at):
    refused(
        "empty_text", owners.change_owner,
        by=engineer, at=at, pieces=[shop.roll], owner=shop.quill, reason=" ",
    )  # fmt: skip
    own = shop.pieces[1, "bottom", 1]
    count = owners.change_owner(
        by=engineer, at=at, pieces=[shop.roll, own], owner=shop.orn, reason="bought with set S"
    )
    change = Change.objects.get(subject="Piece")
    assert (count, change.subject_key, change.what, change.reason) == (
        1, own.code, "owner changed", "bought with set S",
    )  # fmt: skip
    assert (change.before, change.after) == ({"owner": "SHOP"}, {"owner": "ORN"})


def test_an_edit_that_changes_hands_asks_for_the_reason(shop, engineer, at):
    edit = {"by": engineer, "at": at, "piece": shop.roll, "owner": shop.quill}
    problem = refused("owner_change_needs_reason", pieces.edit_piece, **edit)
    assert problem.values["asks"] == "reason"
    pieces.edit_piece(**edit, reason="entered wrong")
    pieces.edit_piece(by=engineer, at=at, piece=shop.roll, condition=Condition.CLEAN)
    assert list(Change.objects.order_by("pk").values_list("what", flat=True)) == [
        "owner changed",
        "edited",
    ]
