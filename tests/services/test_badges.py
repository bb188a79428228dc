"""Badges: what a scanner reads names one person, as long as the badge and the person hold."""

from __future__ import annotations

import pytest

from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import Badge, Change
from tooling.queries.badges import badges_of, person_of_badge
from tooling.services.badges import end_badge, issue_badge

pytestmark = pytest.mark.django_db


def test_a_new_badge_names_its_person_and_no_two_are_alike(supervisor, crew, at) -> None:
    first = issue_badge(by=supervisor, at=at, person=crew)
    second = issue_badge(by=supervisor, at=at, person=crew)
    assert first.text != second.text
    assert person_of_badge(first.text) == person_of_badge(second.text) == crew


@pytest.mark.parametrize("read", ["0004711\r\n", " 0004711", "0004711"])
def test_the_shops_own_badge_names_whoever_it_was_given_to(supervisor, crew, at, read) -> None:
    issue_badge(by=supervisor, at=at, person=crew, read="0004711\n", label="blue fob")
    assert person_of_badge(read) == crew
    assert person_of_badge("0004712") is None
    assert badges_of(crew)[0].label == "blue fob"


def test_only_a_keyed_digest_is_kept(supervisor, crew, at, settings) -> None:
    text = issue_badge(by=supervisor, at=at, person=crew).text
    assert text not in str(Badge.objects.values())
    assert text not in str(Change.objects.values())
    settings.SECRET_KEY = "another key of the same length, or so"
    assert person_of_badge(text) is None


def test_a_badge_that_was_ended_names_nobody_and_can_be_given_anew(
    supervisor, crew, engineer, at
) -> None:
    badge = issue_badge(by=supervisor, at=at, person=crew, read="FOB-4711").badge
    with pytest.raises(Conflict) as taken:
        issue_badge(by=supervisor, at=at, person=engineer, read="fob-4711")
    assert taken.value.code == "badge_taken"
    assert crew.name in taken.value.message
    for _twice in range(2):
        end_badge(by=supervisor, at=at, badge=badge)
    assert person_of_badge("FOB-4711") is None
    issue_badge(by=supervisor, at=at, person=engineer, read="FOB-4711")
    assert person_of_badge("FOB-4711") == engineer
    assert Change.objects.filter(what="badge ended").count() == 1


def test_the_badge_of_whoever_left_opens_nothing(supervisor, crew, at) -> None:
    text = issue_badge(by=supervisor, at=at, person=crew).text
    crew.is_active = False
    crew.save(update_fields=["is_active"])
    assert person_of_badge(text) is None
    with pytest.raises(Conflict):
        issue_badge(by=supervisor, at=at, person=crew)


@pytest.mark.parametrize(
    ("read", "code"), [("12", "badge_too_short"), ("x" * 201, "badge_too_short")]
)
def test_what_is_no_badge_is_refused(supervisor, crew, at, read, code) -> None:
    with pytest.raises(ToolingError) as refused:
        issue_badge(by=supervisor, at=at, person=crew, read=read)
    assert refused.value.code == code


def test_the_label_of_a_roll_is_no_badge(world, supervisor, crew, at) -> None:
    piece = world.piece(world.drawing("D1"), world.place("Rack"))
    with pytest.raises(ToolingError) as refused:
        issue_badge(by=supervisor, at=at, person=crew, read=piece.code)
    assert refused.value.code == "badge_is_label"


def test_a_supervisor_issues_and_ends_nobody_else(supervisor, engineer, crew, at) -> None:
    with pytest.raises(NotAllowed):
        issue_badge(by=engineer, at=at, person=crew)
    badge = issue_badge(by=supervisor, at=at, person=crew).badge
    with pytest.raises(NotAllowed):
        end_badge(by=crew, at=at, badge=badge)
