"""The bar shows the places that a person's roles make useful, four of them at the thumb."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory
from django.urls import path

from tests.world import make_person
from tooling.models import Person, Role
from tooling.web.navigation import nav_for, navigation


def _page(request: HttpRequest) -> HttpResponse:
    return HttpResponse()


PLACES = ("today", "scan", "kits", "mills", "pieces", "sets", "shop")
urlpatterns = [path(f"{name}/", _page, name=name) for name in PLACES]

pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]


def _names(person: Person) -> list[str]:
    return [place.name for place in nav_for(person, path="/").places]


def _at_thumb(person: Person) -> list[str]:
    return [place.name for place in nav_for(person, path="/").places if place.at_thumb]


@pytest.mark.parametrize("role", ["attendant", "crew", "engineer", "supervisor"])
def test_whoever_may_move_pieces_sees_every_place(cast: dict[str, Person], role: str) -> None:
    assert _names(cast[role]) == list(PLACES)


def test_a_viewer_is_not_offered_scanning(viewer: Person) -> None:
    assert _names(viewer) == [name for name in PLACES if name != "scan"]


@pytest.mark.parametrize(
    ("role", "four"),
    [
        ("viewer", ["today", "kits", "mills", "pieces"]),
        ("attendant", ["today", "scan", "kits", "pieces"]),
        ("crew", ["today", "scan", "kits", "mills"]),
        ("engineer", ["today", "kits", "pieces", "sets"]),
        ("supervisor", ["today", "kits", "mills", "shop"]),
    ],
)
def test_each_role_has_its_four_at_the_thumb(
    cast: dict[str, Person], role: str, four: list[str]
) -> None:
    assert _at_thumb(cast[role]) == four


def test_of_several_roles_the_work_beside_the_mill_comes_first() -> None:
    person = make_person("both", Role.ENGINEER, Role.CREW)
    assert _at_thumb(person) == ["today", "scan", "kits", "mills"]


def test_a_person_without_a_role_gets_what_a_viewer_gets() -> None:
    assert _at_thumb(make_person("nobody")) == ["today", "kits", "mills", "pieces"]


def test_the_place_that_the_page_lies_in_is_current(crew: Person) -> None:
    current = [p.name for p in nav_for(crew, path="/kits/K7F3QX2M/").places if p.is_current]
    assert current == ["kits"]


def test_nobody_logged_in_means_no_bar(rf: RequestFactory) -> None:
    request = rf.get("/login/")
    request.user = AnonymousUser()
    assert navigation(request) == {"nav": None}


def test_a_request_refused_before_log_in_is_known_means_no_bar(rf: RequestFactory) -> None:
    assert navigation(rf.get("/nowhere/")) == {"nav": None}


@pytest.mark.urls("tests.web.one_place")
def test_a_place_without_a_page_is_left_out(crew: Person) -> None:
    assert _names(crew) == ["kits"]
