"""Logging in and out, being locked out, and the pages that say what went wrong."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import include, path

from tooling.errors import Unknown
from tooling.models import Person
from tooling.web import sessions

pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]
LogIn = Callable[[Person], Client]


def _today(request: HttpRequest) -> HttpResponse:
    return HttpResponse("today")


def _unknown(request: HttpRequest) -> HttpResponse:
    raise Unknown("unknown_code", "{code} is no code of this shop. Scan it again.", code="R1")


def _fault(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("a fault")


urlpatterns = [
    path("login/", sessions.Login.as_view(), name="login"),
    path("logout/", sessions.Logout.as_view(), name="logout"),
    path("today/", _today, name="today"),
    path("unknown/", _unknown),
    path("fault/", _fault),
    path("", include("tooling.urls")),
]


def _log_in(client: Client, password: str) -> HttpResponse:
    return client.post("/login/", {"username": "crew", "password": password})


def test_the_right_password_leads_to_today(client: Client, crew: Person) -> None:
    answer = _log_in(client, "crew-pass-word")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/today/")


def test_a_wrong_password_is_a_problem_in_place(client: Client, crew: Person) -> None:
    answer = _log_in(client, "wrong")
    assert answer.status_code == 200
    assert 'class="problem" data-code="invalid_login"' in answer.content.decode()


def test_the_ninth_wrong_password_locks_and_says_for_how_long(client: Client, crew: Person) -> None:
    for _attempt in range(8):
        answer = _log_in(client, "wrong")
    assert 'data-code="locked_out"' in answer.content.decode()
    assert 'data-code="locked_out"' in _log_in(client, "crew-pass-word").content.decode()


def test_a_page_asks_for_log_in_and_remembers_where_to_go(client: Client) -> None:
    answer = client.get("/today/")
    assert answer.headers["Location"] == "/login/?next=/today/"


def test_logging_out_is_never_a_link(log_in: LogIn, crew: Person) -> None:
    client = log_in(crew)
    assert client.get("/logout/").status_code == 405
    assert client.post("/logout/").status_code == 302
    assert client.get("/today/").status_code == 302


def test_a_stated_problem_becomes_a_page_that_says_it(log_in: LogIn, crew: Person) -> None:
    answer = log_in(crew).get("/unknown/")
    assert answer.status_code == 404
    assert 'class="problem" data-code="unknown_code"' in answer.content.decode()
    assert "R1 is no code of this shop. Scan it again." in answer.content.decode()


def test_an_unknown_address_says_which(log_in: LogIn, crew: Person) -> None:
    answer = log_in(crew).get("/nowhere/")
    assert answer.status_code == 404
    assert "There is no page at /nowhere/." in answer.content.decode()


def test_a_fault_says_that_nothing_was_saved(log_in: LogIn, crew: Person) -> None:
    client = log_in(crew)
    client.raise_request_exception = False
    answer = client.get("/fault/")
    assert answer.status_code == 500
    assert 'data-code="program_fault"' in answer.content.decode()


def test_a_form_that_was_open_too_long_says_so(crew: Person) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/login/", {"username": "crew", "password": "crew-pass-word"})
    assert answer.status_code == 403
    assert 'data-code="stale_form"' in answer.content.decode()


def test_every_page_carries_the_content_policy(client: Client) -> None:
    policy = client.get("/login/").headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
