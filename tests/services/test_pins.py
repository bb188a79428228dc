"""The gate before what cannot be undone: who came by badge gives the PIN, and guessing ends."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tooling.errors import NotAllowed, PinNeeded, ToolingError
from tooling.models import Change
from tooling.services import pins
from tooling.services.pins import CONFIRMED_FOR, LOCKED_FOR, WRONG_TIMES, CameBy

pytestmark = pytest.mark.django_db
BY_BADGE, BY_PASSWORD = CameBy(badge=True), CameBy(badge=False)


@pytest.fixture
def person(crew, at):
    pins.set_pin(by=crew, at=at, person=crew, pin="4071")
    crew.refresh_from_db()
    return crew


def refused(person, at, pin, came=BY_BADGE) -> str:
    with pytest.raises(PinNeeded) as problem:
        pins.check(by=person, at=at, came=came, pin=pin)
    return problem.value.code


def test_who_came_by_password_is_let_through(crew, at) -> None:
    assert pins.check(by=crew, at=at, came=BY_PASSWORD, pin="") is False


def test_who_came_by_badge_gives_the_pin(person, at) -> None:
    assert refused(person, at, "") == "pin_needed"
    assert refused(person, at, "4072") == "pin_wrong"
    assert pins.check(by=person, at=at, came=BY_BADGE, pin=" 4071 ") is True


def test_for_two_minutes_it_is_not_asked_again(person, at) -> None:
    came = CameBy(badge=True, confirmed_at=at)
    assert pins.check(by=person, at=at + CONFIRMED_FOR, came=came, pin="") is False
    assert refused(person, at + CONFIRMED_FOR + timedelta(seconds=1), "", came) == "pin_needed"
    assert refused(person, at - timedelta(seconds=1), "", came) == "pin_needed"


def test_who_has_none_is_told_where_to_set_one(crew, at) -> None:
    assert refused(crew, at, "1") == "pin_not_set"


def test_guessing_is_locked_even_for_the_right_pin_and_said_in_history(person, at) -> None:
    for _turn in range(WRONG_TIMES):
        assert refused(person, at, "9999") == "pin_wrong"
    assert refused(person, at, "4071") == "pin_locked"
    assert refused(person, at + LOCKED_FOR - timedelta(seconds=1), "4071") == "pin_locked"
    assert pins.check(by=person, at=at + LOCKED_FOR, came=BY_BADGE, pin="4071")
    assert Change.objects.filter(what="PIN locked", subject_key=person.username).count() == 1


def test_a_right_pin_forgets_the_wrong_ones(person, at) -> None:
    for _turn in range(WRONG_TIMES - 1):
        refused(person, at, "9999")
    pins.check(by=person, at=at, came=BY_BADGE, pin="4071")
    assert refused(person, at, "9999") == "pin_wrong"
    assert pins.check(by=person, at=at, came=BY_BADGE, pin="4071")


def test_a_new_pin_unlocks(person, supervisor, at) -> None:
    for _turn in range(WRONG_TIMES):
        refused(person, at, "9999")
    pins.set_pin(by=supervisor, at=at, person=person, pin="5580")
    assert pins.check(by=person, at=at, came=BY_BADGE, pin="5580")


def test_nobody_sets_the_pin_of_another_but_a_supervisor(crew, engineer, at) -> None:
    with pytest.raises(NotAllowed):
        pins.set_pin(by=engineer, at=at, person=crew, pin="4071")


@pytest.mark.parametrize(
    "pin", ["", "123", "123456789", "1111", "2345", "8765", "12a4", "４０７１"]
)
def test_a_pin_that_anybody_guesses_is_refused(crew, at, pin) -> None:
    with pytest.raises(ToolingError) as refused_:
        pins.set_pin(by=crew, at=at, person=crew, pin=pin)
    assert refused_.value.code == "weak_pin"


def test_only_its_hash_is_kept(person) -> None:
    assert "4071" not in person.pin
    assert "4071" not in str(list(Change.objects.values_list("before", "after")))
