"""Drawings with their revisions and files."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from tooling.errors import ToolingError
from tooling.models import Drawing, DrawingFile, DrawingKind, DrawingRevision
from tooling.permissions import Verb
from tooling.queries.drawings import drawing_list, drawing_page
from tooling.services import drawing_files, drawings
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.sets import (
    EditRevision,
    FileForm,
    NewDrawing,
    NewRevision,
    RevisionForm,
    TitleForm,
)
from tooling.web.rows import get_drawing, get_row
from tooling.web.sending import sent

FACTS = (
    "unit", "issued_on", "material", "bore_class", "mass_g", "strokes_to_sharpen",
    "new_cost_cents", "note",
)  # fmt: skip
SHOWN_IN_PLACE = ("application/pdf", "image/png", "image/jpeg")


@require_GET
def show_drawings(request: HttpRequest) -> HttpResponse:
    text, kind = request.GET.get("q", "").strip(), request.GET.get("kind", "")
    found = drawing_list(text=text, kind=kind, after=request.GET.get("after", ""))
    context = {"found": found, "text": text, "kind": kind, "kinds": DrawingKind.choices}
    return render(request, "drawings/list.html", {**context, **rights(request)})


@require_GET
def show_drawing(request: HttpRequest, number: str) -> HttpResponse:
    return drawing_answer(request, number)


def drawing_answer(
    request: HttpRequest, number: str, *, status: int = 200, error: ToolingError | None = None
) -> HttpResponse:
    """A drawing's page, with what was refused."""
    context = {"drawing": drawing_page(number), "error": error, **rights(request)}
    return render(request, "drawings/drawing.html", context, status=status)


@require_http_methods(["GET", "POST"])
def new_drawing(request: HttpRequest) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    return fill_in(
        request,
        NewDrawing(data_of(request)),
        template="drawings/form.html",
        save=lambda values: drawings.create_drawing(**signed(request), **values),
        done=lambda row: (_url(row.drawing), _("Drawing made.")),
        head=_("New drawing"),
        back=reverse("drawings"),
    )


@require_http_methods(["GET", "POST"])
def new_revision(request: HttpRequest, number: str) -> HttpResponse:
    """A further revision; it starts with the sizes of the current one."""
    require(request, Verb.EDIT_RECORDS)
    drawing = get_drawing(number)
    current = drawing.revisions.filter(is_current=True).first()
    form = NewRevision(data_of(request), **_sizes_of(current))
    return fill_in(
        request,
        form,
        template="drawings/form.html",
        save=lambda values: drawings.new_revision(**signed(request), drawing=drawing, **values),
        done=lambda row: (_url(drawing), _("Revision {r} is current.").format(r=row.revision)),
        head=_("{number}, new revision").format(number=drawing.number),
        back=_url(drawing),
    )


@require_http_methods(["GET", "POST"])
def edit_revision(request: HttpRequest, number: str, revision: int) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    row = find_revision(number, revision)
    facts = _sizes_of(row)
    facts["initial"]["old_pieces"] = row.old_pieces
    return fill_in(
        request,
        EditRevision(data_of(request), **facts),
        template="drawings/form.html",
        save=lambda values: drawings.edit_revision(**signed(request), revision=row, **values),
        done=lambda saved: (_url(row.drawing), _("Saved.")),
        head=_("{number}, revision {r}").format(number=number, r=row.revision),
        back=_url(row.drawing),
    )


@require_http_methods(["GET", "POST"])
def edit_title(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    drawing = get_drawing(number)
    return fill_in(
        request,
        TitleForm(data_of(request), initial={"title": drawing.title}),
        template="shop/form.html",
        save=lambda values: drawings.edit_drawing(**signed(request), drawing=drawing, **values),
        done=lambda row: (_url(drawing), _("Saved.")),
        head=drawing.number,
        back=_url(drawing),
    )


@require_http_methods(["GET", "POST"])
def attach_file(request: HttpRequest, number: str, revision: int) -> HttpResponse:
    """Put a file beside a revision."""
    require(request, Verb.EDIT_RECORDS)
    row = find_revision(number, revision)
    form = FileForm(data_of(request), request.FILES or None)

    def save(values: dict[str, Any]) -> DrawingFile:
        return drawing_files.attach(**signed(request), revision=row, upload=values["file"])

    return fill_in(
        request,
        form,
        template="drawings/attach.html",
        save=save,
        done=lambda saved: (_url(row.drawing), _("{name} is kept.").format(name=saved.name)),
        head=_("File for {number} {r}").format(number=number, r=row.revision),
        back=_url(row.drawing),
    )


@require_GET
def serve_file(request: HttpRequest, sha256: str) -> HttpResponseBase:
    """A drawing's file: shown where a browser can show it safely, else to be kept."""
    rows = DrawingFile.objects.select_related("file")
    row = get_row(rows, said=_("such file"), file__sha256=sha256)
    shown = row.file.content_type in SHOWN_IN_PLACE
    return sent(row.file, name=row.name, in_place=shown)


def _sizes_of(revision: DrawingRevision | None) -> dict[str, Any]:
    if revision is None:
        return {"unit": "mm"}
    names = RevisionForm.length_names()
    return {
        "unit": revision.unit,
        "initial": {name: getattr(revision, name) for name in FACTS},
        "lengths": {name: getattr(revision, name) for name in names},
    }


def find_revision(number: str, revision: int) -> DrawingRevision:
    """A drawing's revision by its id. Raises Unknown ``unknown_code``."""
    rows = DrawingRevision.objects.select_related("drawing")
    found: DrawingRevision = get_row(rows, said=number, pk=revision, drawing__number=number)
    return found


def _url(drawing: Drawing) -> str:
    return reverse("drawing", args=[drawing.number])
