"""Incidents written down with what they touched, and put right by a further one."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.services.test_holds import code_of, on_a_mill
from tests.world import World
from tooling.models import Change, Incident, IncidentPiece, Kit, Owner, OwnerReport, Person, Piece
from tooling.queries.at_work import kit_on, pieces_at_work, stations_at_work
from tooling.queries.incidents import incident_list, incident_page, incidents_of_mill
from tooling.queries.piece_history import piece_history
from tooling.services import holds, incidents
from tooling.services.incidents import Touched, Where

pytestmark = pytest.mark.django_db


@pytest.fixture
def rolls(world: World) -> list[Piece]:
    drawing, rack = world.drawing("R-1"), world.place("Rack")
    return [world.piece(drawing, rack, mark=f"1-T{n}") for n in range(4)]


def reported(by: Person, at: datetime, touched: list[Touched], **more: Any) -> Incident:
    given = {"kind": "crash", "happened_at": at, **more}
    return incidents.report(by=by, at=at, touched=touched, **given)


def conditions(rolls: list[Piece]) -> list[str]:
    found = dict(Piece.objects.values_list("pk", "condition"))
    return [found[roll.pk] for roll in rolls]


def test_a_crash_holds_what_it_touched(
    world: World, crew: Person, at: datetime, rolls: list[Piece]
) -> None:
    where = Where(world.mill("M1", stations=3), None, 2, 7)
    touched = [Touched(rolls[0], "hold"), Touched(rolls[1], "marked"), Touched(rolls[2], "sound")]
    incident = reported(crew, at, touched, where=where, note="strip doubled up")
    assert conditions(rolls) == ["hold", "marked", "sound", "sound"]
    rolls[0].refresh_from_db()
    assert rolls[0].hold_reason == "crash on Mill M1, station 2"
    page = incident_page(incident.pk)
    assert [(row.before, row.after) for row in page.touched] == [
        ("sound", "hold"), ("sound", "marked"), ("sound", "sound"),
    ]  # fmt: skip
    assert page.row.where == "Mill M1, station 2, pass 7"
    assert [row.id for row in incidents_of_mill("M1")] == [incident.pk]
    entry = next(e for e in piece_history(rolls[2].code).entries if e.kind == "incident")
    assert entry.said == "crash on Mill M1, station 2, pass 7: looked at, sound"


def test_an_incident_makes_nothing_better(crew: Person, at: datetime, rolls: list[Piece]) -> None:
    holds.hold_piece(by=crew, at=at, piece=rolls[0], reason="in doubt")
    holds.say_condition(by=crew, at=at, piece=rolls[1], condition="cracked")
    holds.say_condition(by=crew, at=at, piece=rolls[2], condition="chipped")
    reported(crew, at, [
        Touched(rolls[0], "sound"), Touched(rolls[1], "dirty"), Touched(rolls[2], "hold")
    ])  # fmt: skip
    assert conditions(rolls) == ["hold", "cracked", "hold", "sound"]
    rolls[0].refresh_from_db()
    assert rolls[0].hold_reason == "in doubt"


def test_customers_pieces_are_reported_to_their_owners(
    world: World, crew: Person, at: datetime
) -> None:
    owner = Owner.objects.create(code="CUST", name="A customer")
    drawing, rack = world.drawing("R-2"), world.place("Rack 2")
    theirs = [world.piece(drawing, rack, owner=owner) for _n in range(3)]
    touched = [Touched(theirs[0], "hold"), Touched(theirs[1], "sound"), Touched(theirs[2], "dirty")]
    incident = reported(crew, at, touched)
    assert [row.piece for row in OwnerReport.objects.filter(incident=incident)] == [theirs[0]]
    reported(crew, at, [Touched(theirs[1], "hold")], kind="build_up")
    assert OwnerReport.objects.count() == 1


def test_a_correction_touches_only_what_it_says_anew(
    crew: Person, engineer: Person, at: datetime, rolls: list[Piece]
) -> None:
    wrong = reported(crew, at, [Touched(rolls[0], "hold"), Touched(rolls[1], "hold")])
    holds.lift_hold(by=engineer, at=at, piece=rolls[0], condition="sound", reason="polished")
    later = at + timedelta(hours=1)
    right = reported(
        crew, later, [Touched(rolls[0], "hold"), Touched(rolls[2], "marked")],
        happened_at=at - timedelta(hours=2), corrects=wrong,
    )  # fmt: skip
    assert conditions(rolls) == ["sound", "hold", "marked", "sound"]
    assert [row.id for row in incident_list().rows] == [right.pk]
    page = incident_page(wrong.pk)
    assert page.newer == right.pk
    assert [row.id for row in incident_page(right.pk).earlier] == [wrong.pk]
    assert code_of(lambda: reported(crew, later, [Touched(rolls[3], "hold")], corrects=wrong)) == (
        "incident_changed"
    )


def test_the_same_report_sent_again_is_written_once(
    crew: Person, at: datetime, rolls: list[Piece]
) -> None:
    key = uuid.uuid4()
    first = reported(crew, at, [Touched(rolls[0], "hold")], uuid=key)
    assert reported(crew, at, [Touched(rolls[1], "hold")], uuid=key) == first
    assert conditions(rolls) == ["hold", "sound", "sound", "sound"]


def test_what_cannot_be_is_refused_and_nothing_is_kept(
    world: World, crew: Person, engineer: Person, viewer: Person, at: datetime, rolls: list[Piece]
) -> None:
    mill, one = world.mill("M1", stations=2), [Touched(rolls[0], "hold")]
    kit = Kit.objects.create(
        number="K0000001", job=world.job(world.tool_set("T", {}), world.mill("M2", stations=1))
    )
    soon = at + timedelta(minutes=1)
    cases: list[tuple[str, dict[str, Any]]] = [
        ("unknown_incident", {"touched": one, "kind": "fire"}),
        ("in_the_future", {"touched": one, "happened_at": soon}),
        ("incident_of_nothing", {"touched": []}),
        ("piece_twice", {"touched": one * 2}),
        ("unknown_condition", {"touched": [Touched(rolls[0], "new")]}),
        ("unknown_station", {"touched": one, "where": Where(mill, None, 3)}),
        ("unknown_station", {"touched": one, "where": Where(None, None, 1)}),
        ("other_mill", {"touched": one, "where": Where(mill, kit)}),
        ("long_text", {"touched": one, "note": "x" * 401}),
        ("too_many_pieces", {"touched": one * 501}),
    ]
    for code, more in cases:
        assert code_of(lambda more=more: reported(crew, at, **more)) == code
    assert code_of(lambda: reported(viewer, at, one)) == "not_allowed"
    assert not Incident.objects.exists()
    assert not IncidentPiece.objects.exists()
    assert not Change.objects.exists()
    assert reported(crew, at, [], where=Where(mill)).mill == mill


def test_what_is_at_work_is_proposed(world: World, engineer: Person, rolls: list[Piece]) -> None:
    kit = on_a_mill(world, engineer, rolls[0])
    mill = kit.job.mill
    stray = rolls[1]
    Piece.objects.filter(pk=stray.pk).update(place=mill.stations.get(number=2).place)
    assert kit_on(mill) == kit
    assert [(s.number, s.set_pass, s.pieces) for s in stations_at_work(mill, kit)] == [
        (1, None, 0), (2, 5, 2), (3, None, 0),
    ]  # fmt: skip
    found = pieces_at_work(mill, kit, 2)
    assert [(each.code, each.shaft) for each in found] == [
        (rolls[0].code, "top"), (stray.code, ""),
    ]  # fmt: skip
    assert pieces_at_work(mill, kit, 1) == ()


def test_lists_are_paged_by_key(world: World, crew: Person, at: datetime) -> None:
    mill = world.mill("M1", stations=1)
    made = [
        reported(crew, at, [], where=Where(mill), happened_at=at - timedelta(hours=n % 3)).pk
        for n in range(7)
    ]
    seen: list[int] = []
    after = ""
    while True:
        page = incident_list(after=after, size=2)
        seen += [row.id for row in page.rows]
        after = page.after
        if not after:
            break
    assert sorted(seen) == sorted(made)
    assert len(seen) == 7
    assert incident_list(kind="drop").rows == ()
    assert incident_list(after="nonsense~x", size=9).rows[0].id in made
