"""The last standing word about a shaft."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.world import MM, World
from tooling.models import Kit, Person, Setup, ShaftMount
from tooling.queries.shaft_states import shaft_states

pytestmark = pytest.mark.django_db


@pytest.fixture
def setup(world: World) -> Setup:
    mill = world.mill("M1", stations=1)
    tool_set = world.tool_set("S1", {(1, "top", 1): world.drawing("R-1", bore_nm=60 * MM)})
    job = world.job(tool_set, mill)
    kit = Kit.objects.create(number=world.code("K"), job=job)
    return Setup.objects.create(kit=kit, mill=mill, started_at=world.at)


def say(setup: Setup, what: str, *, minutes: int, **fields: Any) -> ShaftMount:
    at = setup.started_at + timedelta(minutes=minutes)
    fields = {"station_number": 1, "shaft": "top", **fields}
    return ShaftMount.objects.create(
        setup=setup, what=what, happened_at=at, received_at=at, **fields
    )


def test_the_last_word_about_a_shaft_stands(setup: Setup, crew: Person) -> None:
    say(setup, "mounted", minutes=5, checked="shaft", by=crew)
    say(setup, "taken_off", minutes=9, by=crew)
    say(setup, "skipped", minutes=3, note="No spacer.", shaft="bottom")
    states = shaft_states([setup.pk])
    assert states[setup.pk, 1, "top"].what == "taken_off"
    assert states[setup.pk, 1, "top"].by == str(crew)
    assert states[setup.pk, 1, "bottom"].note == "No spacer."


def test_what_was_taken_back_leaves_what_stood_before(setup: Setup) -> None:
    say(setup, "skipped", minutes=1, note="No spacer.")
    wrong = say(setup, "mounted", minutes=5)
    say(setup, "mounted", minutes=6, corrects=wrong, is_taken_back=True)
    assert shaft_states([setup.pk])[setup.pk, 1, "top"].what == "skipped"


def test_no_word_no_state_and_one_statement_for_all(setup: Setup) -> None:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert shaft_states([setup.pk]) == {}
    assert len(asked) == 1
