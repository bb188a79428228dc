"""Pages in a shop that has nothing yet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from tooling.models import Person

pytestmark = pytest.mark.django_db
EMPTY = ["/pieces/", "/pieces/stock/", "/mills/", "/sets/", "/sets/drawings/", "/shop/",
         "/shop/places/", "/shop/owners/", "/shop/gauges/"]  # fmt: skip


@pytest.mark.parametrize("path", EMPTY)
def test_an_empty_shop_teaches_the_first_step(
    path: str, engineer: Person, viewer: Person, log_in: Callable[[Person], Client]
) -> None:
    for person in (engineer, viewer):
        page = log_in(person).get(path).content.decode()
        assert 'class="teach"' in page or path == "/shop/"


def test_without_jobs_the_list_teaches_the_first_step(
    log_in: Callable[[Person], Client], engineer: Person, crew: Person
) -> None:
    assert 'href="/kits/plan/"' in _words(log_in(engineer).get("/kits/"))
    said = _words(log_in(crew).get("/kits/"))
    assert "No job is planned" in said
    assert 'href="/kits/plan/"' not in said


def _words(answer: Any) -> str:
    return str(answer.content.decode())
