"""Pictures: taken or chosen, looked at large, given words, taken back; and their files served."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Incident, Picture
from tooling.permissions import Verb
from tooling.queries.pictures import picture_list, picture_row, picture_view, shown_file
from tooling.services import pictures
from tooling.web.doors import go_on, require, rights, signed
from tooling.web.rows import get_piece, get_place, get_row
from tooling.web.sending import sent

PAGE = 60
A_YEAR_S = 365 * 24 * 3600


@dataclass(frozen=True)
class Subject:
    """What pictures are of: as the form says it, as people say it, and its page."""

    kind: str
    key: str
    said: str
    url: str
    row: Any


@require_GET
def show_pictures(request: HttpRequest) -> HttpResponse:
    """All pictures of one thing, or of everything; the newest first."""
    subject = next(iter(_subjects(request.GET)), None)
    narrow: dict[str, Any] = {}
    if subject is not None:
        narrow[subject.kind] = subject.row.pk if subject.kind == "incident" else subject.key
    before = request.GET.get("before", "")
    last = int(before) if before.isdigit() and len(before) < 19 else None
    found = picture_list(before=last, size=PAGE + 1, **narrow)
    context = {
        "pictures": found[:PAGE],
        "before": found[PAGE - 1].id if len(found) > PAGE else "",
        "subject": subject,
    }
    return render(request, "pictures/list.html", {**context, **rights(request)})


@require_http_methods(["GET", "POST"])
def keep(request: HttpRequest) -> HttpResponse:
    """Take or choose pictures of the piece, place or incident that is named."""
    require(request, Verb.KEEP_PICTURES)
    said = request.POST if request.method == "POST" else request.GET
    subjects = _subjects(said)
    subject, error = next(iter(subjects), None), None
    if request.method == "POST":
        try:
            kept = pictures.keep_all(
                **signed(request),
                uploads=request.FILES.getlist("files"),
                caption=request.POST.get("caption", ""),
                **{each.kind: each.row for each in subjects},
            )
        except NotAllowed:
            raise
        except ToolingError as refused:
            error = refused
        else:
            words = ngettext("{n} picture kept.", "{n} pictures kept.", len(kept))
            messages.success(request, words.format(n=len(kept)))
            return go_on(request, subject.url + "#pictures" if subject else reverse("pictures"))
    context = {"subject": subject, "error": error}
    return render(request, "pictures/keep.html", context, status=error.status if error else 200)


@require_GET
def show_picture(request: HttpRequest, number: int) -> HttpResponse:
    """One picture large. An older row of it leads to the newest."""
    row = picture_row(number)
    if row.pk != number:
        return redirect("picture", row.pk)
    return _picture(request, row)


@require_POST
def say(request: HttpRequest, number: int) -> HttpResponse:
    """Other words under a picture."""
    row = picture_row(number)
    caption = request.POST.get("caption", "")
    try:
        newer = pictures.say(**signed(request), picture=row, caption=caption)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _picture(request, row, error=error, caption=caption)
    return redirect("picture", newer.pk)


@require_POST
def take_back(request: HttpRequest, number: int) -> HttpResponse:
    """It shows the wrong thing: it is shown no more, until somebody puts it back."""
    row = pictures.take_back(**signed(request), picture=picture_row(number))
    return redirect("picture", row.pk)


@require_POST
def put_back(request: HttpRequest, number: int) -> HttpResponse:
    """Undo of taking back."""
    row = pictures.put_back(**signed(request), picture=picture_row(number))
    messages.success(request, _("The picture is shown again."))
    return redirect("picture", row.pk)


@require_GET
def serve(request: HttpRequest, sha256: str) -> HttpResponseBase:
    """The file of a picture, to whoever is logged in; it never changes, so it may be kept."""
    response = sent(shown_file(sha256), name=f"{sha256[:12]}.jpg")
    response.headers["Cache-Control"] = f"private, max-age={A_YEAR_S}, immutable"
    return response


def _picture(request: HttpRequest, row: Picture, **answer: Any) -> HttpResponse:
    view = picture_view(row)
    error = answer.get("error")
    context = {"picture": view, "caption": view.caption, "subject": _subject_of(row), **answer}
    status = error.status if error else 200
    return render(request, "pictures/picture.html", {**context, **rights(request)}, status=status)


def _subjects(said: Any) -> list[Subject]:
    """What the address or the form names: a piece, a place, an incident; the first leads back."""
    found = []
    if said.get("piece"):
        piece = get_piece(said["piece"])
        url = reverse("piece", args=[piece.code])
        found.append(Subject("piece", piece.code, str(piece), url, piece))
    if said.get("place"):
        place = get_place(said["place"])
        name, url = place.path_name or place.name, reverse("place", args=[place.code])
        found.append(Subject("place", place.code, name, url, place))
    if said.get("incident", "").isdigit():
        number = int(said["incident"][:18])
        found.append(_incident(get_row(Incident.objects.all(), said=_("incident"), pk=number)))
    return found


def _incident(row: Incident) -> Subject:
    url = reverse("incident", args=[row.pk])
    return Subject("incident", str(row.pk), str(row.get_kind_display()), url, row)


def _subject_of(row: Picture) -> Subject | None:
    """The first of what a picture shows, for the way back."""
    if row.piece is not None:
        return _subjects({"piece": row.piece.code})[0]
    if row.place is not None:
        return _subjects({"place": row.place.code})[0]
    return _incident(row.incident) if row.incident is not None else None
