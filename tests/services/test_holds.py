"""Stopping at once, saying conditions, lifting: everywhere it shows, and whoever may."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import (
    Change,
    Incident,
    Kit,
    KitPosition,
    Owner,
    OwnerReport,
    Person,
    Piece,
    ReportNote,
)
from tooling.queries.piece_history import piece_history
from tooling.services import holds, kits

pytestmark = pytest.mark.django_db


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("R-1", bore_nm=60 * MM), world.place("Rack"), mark="1-T1")


@pytest.fixture
def theirs(world: World) -> Piece:
    owner = Owner.objects.create(code="CUST", name="A customer")
    return world.piece(world.drawing("R-2"), world.place("Rack 2"), owner=owner)


def code_of(call: Any) -> str:
    with pytest.raises(ToolingError) as refused:
        call()
    return refused.value.code


def on_a_mill(world: World, engineer: Person, piece: Piece) -> Kit:
    """The piece at station 2 of a mill, with a kit of the job that has it."""
    mill = world.mill("M1", stations=3)
    tool_set = world.tool_set("T-1", {(5, "top", 1): piece.drawing})
    world.chart(tool_set, mill, first_station=2)
    kit = kits.open_kit(by=engineer, at=world.at, job=world.job(tool_set, mill))
    KitPosition.objects.filter(kit=kit).update(piece=piece, is_staged=True, holds_piece=True)
    Piece.objects.filter(pk=piece.pk).update(place=mill.stations.get(number=2).place)
    return kit


def test_stopping_holds_at_once_and_writes_down_where(
    world: World, crew: Person, engineer: Person, piece: Piece, at: datetime
) -> None:
    kit = on_a_mill(world, engineer, piece)
    before = Kit.objects.get(pk=kit.pk).version
    incident = holds.stop(by=crew, at=at, piece=piece, what="chipped")
    piece.refresh_from_db()
    assert (piece.condition, piece.hold_reason) == ("hold", "chipped on Mill M1, station 2")
    assert (incident.kind, incident.kit, incident.station_number, incident.pass_number) == (
        "chip", kit, 2, 5,
    )  # fmt: skip
    touched = incident.pieces.get()
    assert (touched.condition_before, touched.condition_after) == ("sound", "hold")
    assert Kit.objects.get(pk=kit.pk).version > before
    assert Change.objects.get(subject="Piece").what == "held"


def test_the_same_tap_sent_again_stops_once(crew: Person, piece: Piece, at: datetime) -> None:
    key = uuid.uuid4()
    first = holds.stop(by=crew, at=at, piece=piece, what="cracked", uuid=key)
    later = at + timedelta(seconds=9)
    assert holds.stop(by=crew, at=later, piece=piece, what="cracked", uuid=key) == first
    assert code_of(lambda: holds.stop(by=crew, at=later, piece=piece, what="marked")) == (
        "held_already"
    )
    assert Incident.objects.count() == 1


@pytest.mark.parametrize(
    ("what", "kind", "note", "reports"),
    [
        ("cracked", "crack", "", 1),
        ("dropped", "drop", "", 1),
        ("marked", "other", "marked", 1),
        ("build_up", "build_up", "", 0),
        ("in_doubt", "other", "something else, in doubt", 0),
    ],
)
def test_damage_to_a_customers_piece_is_reported(
    crew: Person, theirs: Piece, at: datetime, what: str, kind: str, note: str, reports: int
) -> None:
    incident = holds.stop(by=crew, at=at, piece=theirs, what=what)
    assert (incident.kind, incident.note) == (kind, note)
    found = list(OwnerReport.objects.filter(incident=incident, kind="damage"))
    assert len(found) == reports


def test_the_wrong_roll_is_let_go_by_whoever_stopped_it_and_soon(
    crew: Person, attendant: Person, theirs: Piece, at: datetime
) -> None:
    incident = holds.stop(by=crew, at=at, piece=theirs, what="chipped")
    soon, late = at + timedelta(minutes=9), at + timedelta(minutes=11)
    assert code_of(lambda: holds.undo_stop(by=attendant, at=soon, incident=incident)) == (
        "too_late_to_undo"
    )
    assert code_of(lambda: holds.undo_stop(by=crew, at=late, incident=incident)) == (
        "too_late_to_undo"
    )
    undone = holds.undo_stop(by=crew, at=soon, incident=incident)
    theirs.refresh_from_db()
    assert (theirs.condition, theirs.hold_reason) == ("sound", "")
    assert undone.corrects == incident
    assert ReportNote.objects.get().what == "settled"
    again = Incident.objects.get(pk=incident.pk)
    assert code_of(lambda: holds.undo_stop(by=crew, at=soon, incident=again)) == "too_late_to_undo"


def test_a_hold_that_was_lifted_is_not_undone(
    crew: Person, engineer: Person, piece: Piece, at: datetime
) -> None:
    incident = holds.stop(by=crew, at=at, piece=piece, what="chipped")
    holds.lift_hold(by=engineer, at=at, piece=piece, condition="marked", reason="dressed")
    assert code_of(lambda: holds.undo_stop(by=crew, at=at, incident=incident)) == (
        "too_late_to_undo"
    )


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_only_an_engineer_or_a_supervisor_lifts(
    cast: dict[str, Person], piece: Piece, at: datetime, role: str
) -> None:
    held = holds.hold_piece(by=cast["crew"], at=at, piece=piece, reason="sounds dull")
    with pytest.raises(ToolingError) as refused:
        holds.lift_hold(by=cast[role], at=at, piece=held, condition="sound", reason="fine")
    assert refused.value.code == "not_allowed"
    assert "engineer, supervisor" in refused.value.message


@pytest.mark.parametrize(
    ("condition", "reason", "code"),
    [
        ("hold", "x", "unknown_condition"),
        ("new", "x", "unknown_condition"),
        ("nonsense", "x", "unknown_condition"),
        ("sound", "  ", "empty_text"),
        ("sound", "x" * 401, "long_text"),
    ],
)
def test_lifting_says_what_was_found_and_why(
    supervisor: Person, piece: Piece, at: datetime, condition: str, reason: str, code: str
) -> None:
    held = holds.hold_piece(by=supervisor, at=at, piece=piece, reason="in doubt")
    assert code == code_of(
        lambda: holds.lift_hold(
            by=supervisor, at=at, piece=held, condition=condition, reason=reason
        )
    )
    holds.lift_hold(by=supervisor, at=at, piece=held, condition="chipped", reason="flange")
    piece.refresh_from_db()
    assert (piece.condition, piece.hold_reason) == ("chipped", "")
    assert code_of(
        lambda: holds.lift_hold(by=supervisor, at=at, piece=piece, condition="sound", reason="x")
    ) == "not_held"  # fmt: skip


def test_conditions_are_said_and_taken_back_and_stand_in_the_history(
    attendant: Person, piece: Piece, at: datetime
) -> None:
    change = holds.say_condition(
        by=attendant, at=at, piece=piece, condition="build_up", reason="zinc at the radius"
    )
    assert change is not None
    again = holds.say_condition(by=attendant, at=at, piece=piece, condition="build_up")
    assert again is None
    entry = piece_history(piece.code).entries[0]
    assert (entry.kind, entry.note) == ("change", "zinc at the radius")
    assert "sound → build_up" in entry.said
    holds.undo_condition(by=attendant, at=at, piece=piece, change=change)
    piece.refresh_from_db()
    assert piece.condition == "sound"
    assert code_of(
        lambda: holds.undo_condition(by=attendant, at=at, piece=piece, change=change)
    ) == "condition_changed"  # fmt: skip


def test_a_slip_about_a_customers_piece_is_settled(
    crew: Person, attendant: Person, engineer: Person, theirs: Piece, at: datetime
) -> None:
    change = holds.say_condition(by=crew, at=at, piece=theirs, condition="cracked")
    assert change is not None
    assert OwnerReport.objects.get().kind == "damage"
    assert code_of(
        lambda: holds.undo_condition(by=attendant, at=at, piece=theirs, change=change)
    ) == "not_allowed"  # fmt: skip
    holds.undo_condition(by=engineer, at=at, piece=theirs, change=change)
    assert ReportNote.objects.get().what == "settled"


def test_what_is_cracked_is_better_only_by_an_engineers_word(
    crew: Person, engineer: Person, piece: Piece, at: datetime
) -> None:
    holds.say_condition(by=crew, at=at, piece=piece, condition="cracked")

    def better(by: Person, reason: str) -> Change | None:
        return holds.say_condition(by=by, at=at, piece=piece, condition="sound", reason=reason)

    assert code_of(lambda: better(crew, "looks fine")) == "not_allowed"
    assert code_of(lambda: better(engineer, "")) == "empty_text"
    assert better(engineer, "a scratch, polished out") is not None


@pytest.mark.parametrize(
    ("condition", "code"),
    [("hold", "hold_has_its_own_way"), ("new", "unknown_condition"), ("", "unknown_condition")],
)
def test_conditions_that_nobody_can_say(
    engineer: Person, piece: Piece, at: datetime, condition: str, code: str
) -> None:
    assert code == code_of(
        lambda: holds.say_condition(by=engineer, at=at, piece=piece, condition=condition)
    )


def test_the_condition_of_what_is_held_is_said_when_it_is_lifted(
    crew: Person, piece: Piece, at: datetime
) -> None:
    held = holds.hold_piece(by=crew, at=at, piece=piece, reason="in doubt")
    assert code_of(
        lambda: holds.say_condition(by=crew, at=at, piece=held, condition="clean")
    ) == "piece_held"  # fmt: skip


def test_what_is_no_reason_to_stop_is_refused(
    crew: Person, viewer: Person, piece: Piece, at: datetime
) -> None:
    assert code_of(lambda: holds.stop(by=crew, at=at, piece=piece, what="hold")) == "unknown_stop"
    assert code_of(lambda: holds.stop(by=viewer, at=at, piece=piece, what="chipped")) == (
        "not_allowed"
    )
    assert code_of(lambda: holds.hold_piece(by=crew, at=at, piece=piece, reason=" ")) == (
        "empty_text"
    )
    assert not Incident.objects.exists()


def test_what_is_new_is_called_sound_only_by_who_may_prove_a_set(world, crew, engineer) -> None:
    piece = world.piece(world.drawing("D9"), world.place("Rack N"), condition="new")
    with pytest.raises(NotAllowed):
        holds.say_condition(by=crew, at=world.at, piece=piece, condition="sound")
    holds.say_condition(by=crew, at=world.at, piece=piece, condition="dirty")
    other = world.piece(world.drawing("D10"), world.place("Rack O"), condition="new")
    assert holds.say_condition(by=engineer, at=world.at, piece=other, condition="sound")
