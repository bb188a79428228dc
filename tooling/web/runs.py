"""Runs: what ran through a setup, written down beside the mill; the list of them and its sheet."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.engineering.lengths import format_length, format_strip_length
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Run, Setup
from tooling.permissions import Verb
from tooling.queries.runs import RunView, all_runs, find_run, run_list, run_page, setup_runs
from tooling.queries.setups import find_setup, head_of
from tooling.services import runs
from tooling.services.run_ways import RunIn
from tooling.web.count_sheets import sheet_answer
from tooling.web.doors import data_of, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.runs import RunForm, filled_with

HEADINGS = ("Run", "State", "Corrects", "Setup", "Job", "Set", "Mill", "Coil", "Strip", "Began",
            "Ended", "Length (m)", "Told by", "Counter before (m)", "Counter after (m)", "Parts",
            "Part (mm)", "By parts (m)", "By coil (m)", "By mass (m)", "By pounds per inch (m)",
            "Scrap (m)", "Threading (m)", "Feed", "Entries", "Thickness (mm)", "Width (mm)", "By",
            "Received", "Note")  # fmt: skip


def asked(request: HttpRequest) -> dict[str, str]:
    """What the list is narrowed to."""
    names = {"mill": "mill", "set": "tool_set", "setup": "setup", "piece": "piece"}
    return {to: request.GET.get(name, "").strip()[:60] for name, to in names.items()}


@require_GET
def show_runs(request: HttpRequest) -> HttpResponse:
    """The newest runs, of everything or of one mill, set, setup or piece."""
    narrow = asked(request)
    labels = (_("Mill"), _("Set"), _("Setup"), _("Piece"))
    names = ("mill", "set", "setup", "piece")
    context = {
        "runs": run_list(**narrow),
        "filters": list(zip(names, narrow.values(), labels, strict=True)),
        "is_narrowed": any(narrow.values()),
    }
    return render(request, "runs/list.html", context)


@require_GET
def runs_csv(request: HttpRequest) -> HttpResponse:
    """The same as a file, corrected rows too."""
    rows = [_cells(run) for run in all_runs(**asked(request))]
    return sheet_answer("runs.csv", HEADINGS, rows)


@require_GET
def show_run(request: HttpRequest, number: int) -> HttpResponse:
    return _run_answer(request, number)


def _run_answer(
    request: HttpRequest, number: int, error: ToolingError | None = None
) -> HttpResponse:
    page = run_page(number)
    context = {
        "page": page, "run": page.run, "error": error, "next_id": uuid.uuid4(),
        "unit": unit_of(request.user, page.run.drawn_in), **rights(request),
    }  # fmt: skip
    return render(request, "runs/run.html", context, status=error.status if error else 200)


@require_http_methods(["GET", "POST"])
def setup_run(request: HttpRequest, number: str) -> HttpResponse:
    """What ran through a setup so far; POST says what ran now, or takes it from the counter."""
    setup = find_setup(number)
    form = None
    if request.method == "POST":
        require(request, Verb.RECORD_RUNS)
        form = run_form(request, setup, data=request.POST)
        done = _record(request, setup, form)
        if done is not None:
            return done
    return _setup_answer(request, setup, form)


def _setup_answer(request: HttpRequest, setup: Setup, form: RunForm | None) -> HttpResponse:
    page = setup_runs(setup, at=timezone.now())
    context = {
        "page": page,
        "head": head_of(setup),
        "form": form or run_form(request, setup, from_counter=page.counter_nm is not None,
                                 lengths={"part_length": page.part_nm}),
        "is_typed": form is not None,
        "next_id": uuid.uuid4(),
        "unit": unit_of(request.user, setup.kit.job.unit),
        **rights(request),
    }  # fmt: skip
    return render(request, "runs/setup.html", context, status=400 if form is not None else 200)


def run_form(
    request: HttpRequest, setup: Setup, *, data: Any = None, from_counter: bool = False, **more: Any
) -> RunForm:
    return RunForm(
        data,
        strip_unit=strip_unit_of(request),
        unit=unit_of(request.user, setup.kit.job.unit),
        from_counter=from_counter,
        **more,
    )


def strip_unit_of(request: HttpRequest) -> str:
    return getattr(request.user, "strip_unit", "") or "m"


def _record(request: HttpRequest, setup: Setup, form: RunForm) -> HttpResponse | None:
    """None where the form is to be shown again."""
    fed = request.POST.get("counter")
    if fed is None and not form.is_valid():
        return None
    if fed is not None:
        form.is_valid()
    told: dict[str, Any] = {} if fed is not None else form.told()
    said = RunIn(from_feed=True, counter=fed[:30]) if fed is not None else form.cleaned_data["said"]
    try:
        run = runs.record_run(setup=setup, said=said, id=_uuid(request), **told, **signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        form.refuse(error)
        return None
    unit: Any = strip_unit_of(request)
    length = f"{int(format_strip_length(run.length_nm, unit, 0)):,}".replace(",", "\u202f")
    words = _("{length} {unit} ran; {n} pieces have it.")
    messages.success(request, words.format(length=length, unit=unit, n=run.pieces.count()))
    if run.ways:
        return redirect("run", run.pk)
    return redirect("setup-runs", setup.kit.number)


@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, number: int) -> HttpResponse:
    """The run was otherwise; its row and its entries are put right by further ones."""
    require(request, Verb.RECORD_RUNS)
    run = find_run(number)
    view = run_page(number).run
    filled = filled_with(view, strip_unit=strip_unit_of(request))
    if request.POST.get("counter") is not None:
        return _correct_from_feed(request, run)
    form = run_form(request, run.setup, data=data_of(request), **filled)
    if request.method == "POST" and form.is_valid():
        new = _correct(request, run, form)
        if new is not None:
            messages.success(request, _("Put right. The old one stays in the list of runs."))
            return redirect("run", new.pk)
    context = {"run": view, "form": form, "next_id": uuid.uuid4()}
    return render(request, "runs/correct.html", context, status=400 if form.is_bound else 200)


def _correct_from_feed(request: HttpRequest, run: Run) -> HttpResponse:
    """As the counter tells it now; all else stays as it was said."""
    said = RunIn(
        from_feed=True, counter=request.POST["counter"][:30], parts=run.parts, part_nm=run.part_nm,
        scrap_nm=run.scrap_nm, threading_nm=run.threading_nm,
    )  # fmt: skip
    try:
        new = runs.correct_run(run=run, said=said, id=_uuid(request), sure=True, **signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _run_answer(request, run.pk, error)
    messages.success(request, _("Put right. The old one stays in the list of runs."))
    return redirect("run", new.pk)


def _correct(request: HttpRequest, run: Run, form: RunForm) -> Run | None:
    try:
        return runs.correct_run(
            run=run, said=form.cleaned_data["said"], id=_uuid(request), **form.told(),
            **signed(request),
        )  # fmt: skip
    except NotAllowed:
        raise
    except ToolingError as error:
        form.refuse(error)
        return None


@require_POST
def take_back(request: HttpRequest, number: int) -> HttpResponse:
    """It did not run."""
    require(request, Verb.RECORD_RUNS)
    run = find_run(number)
    try:
        runs.take_back(run=run, id=_uuid(request), **signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _run_answer(request, number, error)
    messages.success(request, _("Taken back: it ran on no piece."))
    return redirect("setup-runs", run.setup.kit.number)


def _uuid(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get("id", ""))
    except ValueError:
        return None


def _cells(run: RunView) -> list[Any]:
    ways = {each.way: each.length_nm for each in run.ways} | {run.way: run.length_nm}

    def metres(nm: int | None) -> str:
        return "" if nm is None else format_strip_length(nm, "m")

    def mm(nm: int | None) -> str:
        return "" if nm is None else format_length(nm, "mm")

    return [
        run.id, run.state, run.corrects_id, run.setup, run.job, run.set_number, run.mill_number,
        run.coil, run.strip_class, run.began_at, run.happened_at, metres(run.length_nm), run.way,
        metres(run.counter_start_nm), metres(run.counter_end_nm), run.parts, mm(run.part_nm),
        *(metres(ways.get(way)) for way in ("parts", "coil", "mass", "pounds_per_inch")),
        metres(run.scrap_nm), metres(run.threading_nm), run.feed, run.entries,
        mm(run.thickness_nm), mm(run.width_nm), run.by, run.received_at, run.note,
    ]  # fmt: skip
