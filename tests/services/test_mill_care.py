"""Alignment, end play and shoulders of many stations at once, and what of it is due."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.world import World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, MillShaft, Person, Station
from tooling.queries.mill_care import mill_care
from tooling.services.mill_care import note_check


def test_a_check_is_written_down_for_the_chosen_and_comes_due(
    world: World, engineer: Person
) -> None:
    mill, day = world.mill("M1", stations=3), world.at.date()
    way = {"by": engineer, "at": world.at, "mill": mill, "on": day - timedelta(days=31)}
    assert mill_care(mill, today=day).never
    assert note_check(**way, what="end_play", stations=[1, 3]) == 4  # type: ignore[arg-type]
    assert note_check(**way, what="aligned") == 3  # type: ignore[arg-type]
    assert note_check(**way, what="aligned") == 0, "nothing new"  # type: ignore[arg-type]
    assert Change.objects.filter(subject__in=("Station", "MillShaft")).count() == 7
    told = mill_care(mill, today=day)
    assert told.end_play_overdue == (1, 3), "monthly, as published; what was never done is told so"
    assert told.alignment_overdue == ()
    assert mill_care(mill, today=day + timedelta(days=400)).alignment_overdue == (1, 2, 3)
    assert MillShaft.objects.filter(end_play_measured_on=None).count() == 2
    assert not Station.objects.filter(aligned_on=None).exists()


def test_what_cannot_be_is_refused(world: World, engineer: Person, crew: Person) -> None:
    mill, day = world.mill("M1", stations=1), world.at.date()
    for values, code in (
        ({"what": "oiled", "on": day}, "unknown_check"),
        ({"what": "aligned", "on": day + timedelta(days=2)}, "not_yet"),
        ({"what": "aligned", "on": day, "stations": [7]}, "unknown_station"),
        ({"what": "aligned", "on": day, "stations": []}, "empty_text"),
    ):
        with pytest.raises(ToolingError) as error:
            note_check(by=engineer, at=world.at, mill=mill, **values)  # type: ignore[arg-type]
        assert error.value.code == code
    with pytest.raises(NotAllowed):
        note_check(by=crew, at=world.at, mill=mill, what="aligned", on=day)
