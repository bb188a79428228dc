"""What page.js does on every page, tried on a small page of our own."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.http import HttpRequest, HttpResponse
from django.template import RequestContext, Template
from django.urls import path
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE
from tooling.errors import Conflict
from tooling.models import Person
from tooling.web import offline, sessions

pytestmark = pytest.mark.urls(__name__)
Open = Callable[..., Page]

PAGE = """{% extends "base.html" %}{% block title %}Trial{% endblock %}
{% block heading %}Trial{% endblock %}
{% block content %}
{% include "parts/sure.html" %}
<div id="polled" hx-get="/kits/polled/?v=1" hx-trigger="every 1s">version 1</div>
<section data-problems-here><form id="trial" hx-post="/kits/refuse/" hx-swap="outerHTML">
<button type="submit">Stage</button></form></section>
{% endblock %}"""


def _page(request: HttpRequest) -> HttpResponse:
    return HttpResponse(Template(PAGE).render(RequestContext(request)))


def _polled(request: HttpRequest) -> HttpResponse:
    return HttpResponse(status=204)


def _refuse(request: HttpRequest) -> HttpResponse:
    raise Conflict("kit_closed", "Kit K1 is closed. Open another kit for the job.")


urlpatterns = [
    path("login/", sessions.Login.as_view(), name="login"),
    path("logout/", sessions.Logout.as_view(), name="logout"),
    path("login/badge/", _page, name="badge-log-in"),
    path("manifest.webmanifest", offline.manifest, name="manifest"),
    path("shop/https/", _page, name="https"),
    path("shop/myself/", _page, name="myself"),
    path("today/", _page, name="today"),
    path("kits/", _page, name="kits"),
    path("mills/", _page, name="mills"),
    path("sets/", _page, name="sets"),
    path("kits/polled/", _polled),
    path("kits/refuse/", _refuse),
]


def test_a_poll_without_news_leaves_the_page_and_is_sure(open_as: Open, crew: Person) -> None:
    page = open_as(crew, "/today/")
    with page.expect_response("**/kits/polled/*") as answer:
        pass
    assert answer.value.status == 204
    expect(page.locator("#polled")).to_have_text("version 1")
    expect(page.locator("[data-sure]")).to_have_text(re.compile(r"^Last sure at \d\d:\d\d:\d\d$"))


def test_a_page_that_hears_nothing_says_since_when(open_as: Open, crew: Person) -> None:
    page = open_as(crew, "/today/")
    page.clock.install()
    page.goto("/today/")
    page.route("**/kits/polled/*", lambda route: route.fulfill(status=408, body=""))
    page.clock.run_for(8_000)
    lost = page.locator("[data-sure].lost")
    expect(lost).to_have_text(re.compile(r"^Not sure since \d\d:\d\d:\d\d: no connection$"))


def test_a_refused_form_shows_the_problem_beside_it(open_as: Open, crew: Person) -> None:
    page = open_as(crew, "/today/")
    page.click("#trial button")
    problem = page.locator("[data-problems-here] .problem[data-code=kit_closed]")
    expect(problem).to_contain_text("Kit K1 is closed. Open another kit for the job.")
    expect(page.locator("#trial")).to_be_visible()
    page.click("#trial button")
    expect(problem).to_have_count(1)


def test_a_log_in_that_ran_out_leads_to_the_log_in_page_and_back(
    open_as: Open, crew: Person
) -> None:
    page = open_as(crew, "/kits/")
    page.context.clear_cookies()
    page.wait_for_url("**/login/?next=%2Fkits%2F")


def test_more_opens_on_a_phone_and_folds_away(open_as: Open, crew: Person) -> None:
    page = open_as(crew, "/today/", viewport=PHONE)
    link = page.locator(".more-sheet a", has_text="Sets")
    expect(link).to_be_hidden()
    page.click(".more summary")
    expect(link).to_be_visible()
    page.keyboard.press("Escape")
    expect(link).to_be_hidden()
    expect(page.locator(".more summary")).to_be_focused()


def test_the_first_tab_leads_past_the_bar(open_as: Open, crew: Person) -> None:
    page = open_as(crew, "/today/")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#content")).to_be_focused()
