"""A received piece is measured to print: the class of the bore, the shop's tolerance for the rest,
readings and verdict together or not at all."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import (
    DrawingRevision,
    Inspection,
    Owner,
    OwnerReport,
    Person,
    Piece,
    Reading,
    Receipt,
    Setting,
)
from tooling.queries.piece_history import piece_history
from tooling.queries.print_limits import Limit, print_limits
from tooling.services import holds, inspection, purchases, receiving
from tooling.services.inspection import Measured
from tooling.services.purchases import LineIn
from tooling.services.rebuild import differences

IN = 25_400_000
UM = 1_000
ROLL = {"bore_nm": 60 * MM, "bore_class": "H7", "face_width_nm": 40 * MM,
        "drive_diameter_nm": 150 * MM}  # fmt: skip


def limits(world: World, number: str, **drawn: Any) -> dict[str, tuple[int, int]]:
    revision = world.drawing(number, **drawn).revisions.get()
    return {limit.name: (limit.least_nm, limit.most_nm) for limit in print_limits(revision)}


def test_a_bore_goes_by_its_class_and_the_rest_by_the_shops_tolerance(world: World) -> None:
    # ISO 286-2: 60 H7 is 0 to +0.030 mm; 110 H8 is 0 to +0.054 mm. Tolerance ±0.025 mm.
    assert limits(world, "R-1", **ROLL) == {
        "bore": (60 * MM, 60 * MM + 30 * UM),
        "face_width": (40 * MM - 25 * UM, 40 * MM + 25 * UM),
        "drive_diameter": (150 * MM - 25 * UM, 150 * MM + 25 * UM),
    }
    assert limits(world, "R-2", bore_nm=110 * MM, bore_class="H8") == {
        "bore": (110 * MM, 110 * MM + 54 * UM)
    }


def test_an_inch_drawing_has_a_thousandth_and_ansi_classes(world: World) -> None:
    # ANSI B4.1: the hole of RC4 at 2.5 in is 0 to +0.0018 in; tolerance ±0.001 in.
    drawn = {"unit": "in", "bore_nm": 5 * IN // 2, "bore_class": "RC4", "face_width_nm": 2 * IN}
    assert limits(world, "R-1", **drawn) == {
        "bore": (5 * IN // 2, 5 * IN // 2 + 18 * 2_540),
        "face_width": (2 * IN - IN // 1000, 2 * IN + IN // 1000),
    }


def test_the_shop_changes_its_tolerance_and_an_unknown_class_falls_back_to_it(world: World) -> None:
    Setting.objects.create(name="inspection_tolerance", value=50_000)
    drawn = {"bore_nm": 60 * MM, "bore_class": "Q99", "guide_offset_nm": 0}
    assert limits(world, "R-1", **drawn) == {
        "bore": (60 * MM - 50 * UM, 60 * MM + 50 * UM),
        "guide_offset": (-50 * UM, 50 * UM),
    }
    assert limits(world, "R-2") == {}


@given(drawn=st.integers(-(10**12), 10**12), below=st.integers(0, 10**9), size=st.integers())
def test_a_size_holds_exactly_between_its_limits(drawn: int, below: int, size: int) -> None:
    limit = Limit("bore", "Bore", drawn, drawn - below, drawn + below, "")
    assert limit.holds(size) == (abs(limit.deviation_of(size)) <= below)


@pytest.fixture
def receipt(world: World, engineer: Person, attendant: Person) -> Receipt:
    revision = world.drawing("R-1", **ROLL).revisions.get()
    purchase = purchases.create_purchase(
        by=engineer, at=world.at, number="4711", vendor="Halden Tool", owner=world.shop,
        ordered_on=date(2026, 11, 1), lines=[LineIn(revision, 2)],
    )  # fmt: skip
    return receiving.receive_piece(
        by=attendant, at=world.at, line=purchase.lines.get(), place=world.place("Rack A")
    )


def inspect(by: Person, world: World, receipt: Receipt, verdict: str, **more: Any) -> Inspection:
    sizes = more.pop("sizes", {})
    measured = {name: Measured(nm, str(nm)) for name, nm in sizes.items()}
    at = world.at + timedelta(minutes=more.pop("after", 1))
    return inspection.inspect(
        by=by, at=at, receipt=receipt, measured=measured, unit="mm", verdict=verdict, **more
    )


GOOD = {"bore": 60 * MM + 30 * UM, "face_width": 40 * MM - 25 * UM}


def test_what_is_to_print_is_accepted_with_its_readings(
    world: World, attendant: Person, receipt: Receipt
) -> None:
    inspect(attendant, world, receipt, "accepted", sizes=GOOD)
    piece = Piece.objects.get()
    assert (piece.now_bore_nm, piece.now_face_width_nm) == tuple(GOOD.values())
    assert set(Reading.objects.values_list("note", flat=True)) == {"to print, 4711 line 1"}
    assert (piece.condition, Inspection.objects.get().verdict) == ("new", "accepted")
    told = [entry.said for entry in piece_history(piece.code).entries]
    assert "measured to print for order 4711: accepted" in told
    assert differences() == []


@pytest.mark.parametrize(
    "sizes",
    [
        {"bore": 60 * MM + 30 * UM + 1},
        {"bore": 60 * MM - 1},
        {"face_width": 40 * MM + 25 * UM + 1},
        {**GOOD, "drive_diameter": 150 * MM - 26 * UM},
    ],
)
def test_a_nanometre_beyond_is_not_to_print_and_nothing_is_kept(
    sizes: dict[str, int], world: World, attendant: Person, receipt: Receipt
) -> None:
    with pytest.raises(ToolingError, match="not_to_print"):
        inspect(attendant, world, receipt, "accepted", sizes=sizes)
    assert (Reading.objects.count(), Inspection.objects.count()) == (0, 0)


def test_what_was_measured_off_print_before_is_still_off(
    world: World, attendant: Person, receipt: Receipt
) -> None:
    off = {"bore": 60 * MM + 40 * UM}
    inspect(attendant, world, receipt, "rejected", sizes=off, reason="bore over size")
    with pytest.raises(ToolingError, match="not_to_print"):
        inspect(attendant, world, receipt, "accepted", sizes={"face_width": 40 * MM}, after=2)


def test_rejected_is_held_with_its_reason_and_let_go_by_an_engineer_only(
    world: World, attendant: Person, engineer: Person, receipt: Receipt
) -> None:
    inspect(attendant, world, receipt, "rejected", reason="bore over size")
    held = Piece.objects.get()
    assert (held.condition, held.hold_reason) == ("hold", "bore over size")
    with pytest.raises(NotAllowed):
        inspect(attendant, world, receipt, "accepted", sizes=GOOD, after=2)
    assert Reading.objects.count() == 0
    inspect(engineer, world, receipt, "accepted", sizes=GOOD, after=3)
    let_go = Piece.objects.get()
    assert (let_go.condition, let_go.hold_reason) == ("new", "")


def test_a_hold_for_something_else_stays_when_the_sizes_are_right(
    world: World, attendant: Person, receipt: Receipt
) -> None:
    piece = Piece.objects.get()
    holds.hold_piece(by=attendant, at=world.at, piece=piece, reason="dropped while unpacking")
    inspect(attendant, world, receipt, "accepted", sizes=GOOD)
    assert Piece.objects.get().condition == "hold"


def test_an_engineer_takes_it_as_it_is_for_a_reason_and_an_attendant_may_not(
    world: World, attendant: Person, engineer: Person, receipt: Receipt
) -> None:
    off = {"sizes": {"face_width": 40 * MM + 60 * UM}, "reason": "fill is 0.1 mm anyway"}
    with pytest.raises(NotAllowed):
        inspect(attendant, world, receipt, "concession", **off)
    with pytest.raises(ToolingError, match="empty_text"):
        inspect(engineer, world, receipt, "concession", sizes=off["sizes"])
    row = inspect(engineer, world, receipt, "concession", **off)
    assert (row.reason, Piece.objects.get().now_face_width_nm) == (
        "fill is 0.1 mm anyway", 40 * MM + 60 * UM,
    )  # fmt: skip


def test_what_makes_no_sense_is_refused(world: World, attendant: Person, receipt: Receipt) -> None:
    for verdict, more, code in (
        ("perhaps", {}, "unknown_verdict"),
        ("accepted", {}, "nothing_measured"),
        ("rejected", {}, "empty_text"),
        ("accepted", {"sizes": {"root_diameter": MM}}, "not_drawn"),
        ("rejected", {"sizes": {"bore": 0}, "reason": "x", "sure": True}, "not_positive"),
        ("rejected", {"sizes": {"bore": 90 * MM}, "reason": "x"}, "improbable_value"),
    ):
        with pytest.raises(ToolingError, match=code):
            inspect(attendant, world, receipt, verdict, **more)
    receiving.take_back(by=attendant, at=world.at, receipt=receipt)
    with pytest.raises(ToolingError, match="taken_back_already"):
        inspect(attendant, world, receipt, "accepted", sizes=GOOD)
    assert (Reading.objects.count(), Inspection.objects.count()) == (0, 0)


def test_once_measured_it_is_rejected_not_taken_back(
    world: World, attendant: Person, receipt: Receipt
) -> None:
    inspect(attendant, world, receipt, "accepted", sizes=GOOD)
    with pytest.raises(ToolingError, match="inspected_already"):
        receiving.take_back(by=attendant, at=world.at, receipt=receipt)


def test_a_drawing_without_sizes_is_looked_at(
    world: World, engineer: Person, attendant: Person
) -> None:
    revision: DrawingRevision = world.drawing("NUT", kind="hardware").revisions.get()
    purchase = purchases.create_purchase(
        by=engineer, at=world.at, number="4712", vendor="Halden Tool", owner=world.shop,
        ordered_on=date(2026, 11, 1), lines=[LineIn(revision, 1)],
    )  # fmt: skip
    came = receiving.receive_piece(
        by=attendant, at=world.at, line=purchase.lines.get(), place=world.place("Rack A")
    )
    assert inspect(attendant, world, came, "accepted").verdict == "accepted"


def test_what_is_rejected_of_a_customers_is_reported_to_the_customer_once(
    world: World, attendant: Person, receipt: Receipt
) -> None:
    owner = Owner.objects.create(code="ORN", name="Orn & Sons")
    Piece.objects.filter(pk=receipt.piece_id).update(owner=owner)
    for _each in range(2):
        inspect(attendant, world, receipt, "rejected", reason="bore over size")
    report = OwnerReport.objects.get()
    assert (report.owner, report.kind, "bore over size" in report.what_happened) == (
        owner, "unsuitable", True,
    )  # fmt: skip
