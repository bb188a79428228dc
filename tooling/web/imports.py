"""Spreadsheets in and out: bring, match columns, look over, apply; export; templates."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import ToolingError
from tooling.models import Import, ImportState, Person
from tooling.permissions import Verb, can, check_can
from tooling.queries.imports import import_page, imports_page
from tooling.services import exports, import_mapping, imports
from tooling.web.sessions import person_of

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_GET
def show_imports(request: HttpRequest) -> HttpResponse:
    return _imports(request)


def _imports(request: HttpRequest, error: ToolingError | None = None) -> HttpResponse:
    context = {
        "page": imports_page(),
        "error": error,
        "may_import": can(request.user, Verb.IMPORT),
    }
    return render(request, "imports/imports.html", context, status=error.status if error else 200)


@require_POST
def bring(request: HttpRequest) -> HttpResponse:
    """The files come in; the answer is the page that shows what they would do."""
    brought = [
        imports.Brought(file.name or "sheet", file.read())
        for file in request.FILES.getlist("files")
    ]
    try:
        made = imports.bring(
            by=person_of(request),
            at=timezone.now(),
            brought=brought,
            mapping_name=request.POST.get("mapping", ""),
        )
    except ToolingError as error:
        if error.code == "not_allowed":
            raise
        return _imports(request, error)
    return redirect("import", number=made.pk)


@require_GET
def show_import(request: HttpRequest, number: int) -> HttpResponse:
    check_can(request.user, Verb.IMPORT)
    return _import(request, number)


def _import(
    request: HttpRequest,
    number: int,
    error: ToolingError | None = None,
    typed: dict[str, str] | None = None,
) -> HttpResponse:
    context = {"page": import_page(number, typed=typed), "error": error, "typed": typed or {}}
    return render(request, "imports/import.html", context, status=error.status if error else 200)


@require_POST
def map_columns(request: HttpRequest, number: int) -> HttpResponse:
    """Another mapping, another look."""
    by, made = _made(request, number)
    try:
        mapping = import_mapping.chosen(made=made, form=request.POST.dict())
        imports.remap(by=by, at=timezone.now(), made=made, mapping=mapping)
        if request.POST.get("keep_as"):
            kept = imports.keep_mapping(
                by=by, at=timezone.now(), made=made, name=request.POST["keep_as"]
            )
            messages.success(request, _("Mapping kept as “%s”.") % kept.name)
    except ToolingError as error:
        return _import(request, number, error, request.POST.dict())
    return redirect("import", number=number)


@require_POST
def apply(request: HttpRequest, number: int) -> HttpResponse:
    by, made = _made(request, number)
    try:
        made = imports.apply(by=by, at=timezone.now(), made=made)
    except ToolingError as error:
        return _import(request, number, error)
    if made.state == ImportState.APPLIED:
        messages.success(request, _("Import %s applied.") % number)
    return redirect("import", number=number)


@require_POST
def drop(request: HttpRequest, number: int) -> HttpResponse:
    by, made = _made(request, number)
    imports.drop(by=by, at=timezone.now(), made=made)
    messages.success(request, _("Import %s put away. Nothing was changed.") % number)
    return redirect("imports")


def _made(request: HttpRequest, number: int) -> tuple[Person, Import]:
    by = person_of(request)
    check_can(by, Verb.IMPORT)
    return by, get_object_or_404(Import, pk=number)


@require_GET
def template(request: HttpRequest, kind: str) -> HttpResponse:
    """An empty workbook for one kind, in the person's unit."""
    unit = "in" if request.GET.get("unit") == "in" else "mm"
    return _download(exports.template(kind=kind, unit=unit), XLSX, f"{kind}.xlsx")


@require_GET
def export_csv(request: HttpRequest, kind: str) -> HttpResponse:
    data = exports.csv_of(by=person_of(request), kind=kind)
    return _download(data, "text/csv; charset=utf-8", f"{kind}.csv")


@require_GET
def export_workbook(request: HttpRequest) -> HttpResponse:
    return _download(exports.workbook(by=person_of(request)), XLSX, "rollroom.xlsx")


def _download(data: bytes, content_type: str, name: str) -> HttpResponse:
    return HttpResponse(
        data,
        content_type=content_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
