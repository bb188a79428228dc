"""Badges: log in by one on a shared tablet; issue and end them on the page of a person."""

from __future__ import annotations

from typing import Any

from axes.utils import reset
from django.contrib import messages
from django.contrib.auth import authenticate, login
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Badge, Person
from tooling.paper.badges import badge_pdf
from tooling.permissions import Verb
from tooling.queries.badges import badges_of, person_of_badge
from tooling.services import badges, pins
from tooling.web.doors import require, signed
from tooling.web.pins import BY_BADGE, confirm
from tooling.web.rows import get_row
from tooling.web.shared import begin_watch, shared_device
from tooling.web.zone import ShopBackend

BACKEND = "tooling.web.badges.BadgeBackend"
BY_ANY_BADGE = "(badge)"
"""What wrong badges are counted under: guessing is locked out for the tablet, not for a person."""


class BadgeBackend(ShopBackend):
    """Names the person whose badge was read."""

    def authenticate(self, request: Any, badge: str | None = None, **other: Any) -> Person | None:  # type: ignore[override]
        person = person_of_badge(badge) if badge else None
        return person if person is not None and self.user_can_authenticate(person) else None


@require_POST
@login_not_required
def log_in(request: HttpRequest) -> HttpResponse:
    """Whoever's badge was read works on this shared tablet from now on. A page's script that asks
    for JSON gets the name and where to go."""
    try:
        person = _badge_read(request)
    except ToolingError as error:
        return _refused(request, error)
    onward = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(onward, {request.get_host()}, request.is_secure()):
        onward = reverse("today")
    if _wants_json(request):
        return JsonResponse({"name": person.name, "username": person.username, "next": onward})
    return redirect(onward)


def _badge_read(request: HttpRequest) -> Person:
    device = shared_device(request)
    if device is None:
        raise Conflict(
            "not_a_shared_tablet",
            _("Badges work on shared tablets only. A supervisor makes this one shared under "
              "Shop, Devices; until then log in with your password."),
        )  # fmt: skip
    person = authenticate(
        request, username=BY_ANY_BADGE, badge=request.POST.get("code", "")[: badges.MOST_READ]
    )
    if not isinstance(person, Person):
        raise Unknown(
            "unknown_badge",
            _("Nobody has that badge. Scan it again, or log in with your password."),
        )
    reset(ip=request.META.get("REMOTE_ADDR"), username=BY_ANY_BADGE)
    request.session.flush()
    login(request, person, backend=BACKEND)
    request.session[BY_BADGE] = True
    begin_watch(request, device)
    return person


def _refused(request: HttpRequest, error: ToolingError) -> HttpResponse:
    if _wants_json(request):
        return JsonResponse({"code": error.code, "message": error.message}, status=error.status)
    context = {"code": error.code, "message": error.message}
    return render(request, "registration/badge.html", context, status=error.status)


def _wants_json(request: HttpRequest) -> bool:
    return request.accepts("application/json") and not request.accepts("text/html")


@require_POST
def issue(request: HttpRequest, username: str) -> HttpResponse:
    """A badge by what was read from it, or a new one that comes back as a sheet to print."""
    require(request, Verb.RUN_SHOP)
    person = get_row(Person.objects.all(), said=username, username=username)
    read, label = request.POST.get("read", ""), request.POST.get("label", "")
    try:
        confirm(request)
        made = badges.issue_badge(**signed(request), person=person, read=read, label=label)
    except ToolingError as error:
        return show_badges(request, person, error=error)
    if read.strip():
        messages.success(request, _("That badge is {name}'s now.").format(name=person.name))
        return redirect("person-badges", username)
    headers = {"Content-Disposition": 'attachment; filename="badge.pdf"'}
    data = badge_pdf(name=person.name, text=made.text, issued_on=timezone.localdate())
    return HttpResponse(data, content_type="application/pdf", headers=headers)


@require_POST
def end(request: HttpRequest, username: str, number: int) -> HttpResponse:
    """Lost or given back: it names nobody from now on."""
    require(request, Verb.RUN_SHOP)
    rows = Badge.objects.select_related("person").filter(person__username=username)
    row = get_row(rows, said=_("such badge"), pk=number)
    badges.end_badge(**signed(request), badge=row)
    messages.success(request, _("That badge names nobody any more."))
    return redirect("person-badges", username)


@require_POST
def give_pin(request: HttpRequest, username: str) -> HttpResponse:
    """A PIN for somebody who forgot theirs; it unlocks too."""
    require(request, Verb.RUN_SHOP)
    person = get_row(Person.objects.all(), said=username, username=username)
    try:
        confirm(request)
        pins.set_pin(**signed(request), person=person, pin=request.POST.get("new_pin", ""))
    except ToolingError as error:
        return show_badges(request, person, error=error, wrong_form="pin")
    messages.success(request, _("{name} has a new PIN.").format(name=person.name))
    return redirect("person-badges", username)


@require_GET
def show(request: HttpRequest, username: str) -> HttpResponse:
    """Badges and PIN of a person."""
    require(request, Verb.RUN_SHOP)
    return show_badges(request, get_row(Person.objects.all(), said=username, username=username))


def show_badges(
    request: HttpRequest, person: Person, *, error: ToolingError | None = None, wrong_form: str = ""
) -> HttpResponse:
    """The page with what was typed and what was wrong with it."""
    context = {
        "username": person.username,
        "name": person.name,
        "has_pin": bool(person.pin),
        "badges": badges_of(person),
        "error": error,
        "wrong_form": wrong_form,
        "label": request.POST.get("label", ""),
    }
    return render(request, "shop/badges.html", context, status=error.status if error else 200)
