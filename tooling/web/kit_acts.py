"""What people do with kits: open, assemble, choose, gather, tick, turn, close."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from tooling.errors import NotAllowed, ToolingError, Unknown
from tooling.models import How, Job, Kit, KitPosition, KitState, Piece
from tooling.permissions import Verb, check_can
from tooling.queries.find import find_filler
from tooling.queries.kits import bin_for, find_kit
from tooling.services import jobs, kits, proving, scans
from tooling.services.paper_sets import handle
from tooling.services.scan_moves import ScanIn
from tooling.web.doors import require
from tooling.web.forms.kits import CloseForm, PlaceForm
from tooling.web.kits import kit_answer
from tooling.web.pins import confirm
from tooling.web.rows import get_row
from tooling.web.sessions import person_of

A_MINUTE = timedelta(minutes=1)


@require_POST
def open_kit(request: HttpRequest) -> HttpResponse:
    """A kit for a job, with a position for everything that its set calls for."""
    by, at = person_of(request), timezone.now()
    number = request.POST.get("job", "")
    check_can(by, Verb.GATHER_KITS)
    job: Job = get_row(Job.objects.all(), said=number, number=number)
    kit = kits.open_kit(by=by, at=at, job=job)
    return redirect("kit", kit.number)


@require_POST
def assemble(request: HttpRequest, number: str) -> HttpResponse:
    """Choose pieces for every position that has none."""
    return _done(request, number, lambda kit, way: kits.assemble(kit=kit, **way))


@require_POST
def set_place(request: HttpRequest, number: str) -> HttpResponse:
    """Where the kit is gathered from now on."""
    form = PlaceForm(request.POST)
    return _through(request, number, form, "place_form", _gather)


def _gather(kit: Kit, way: dict[str, Any], values: dict[str, Any]) -> None:
    kits.set_gathering_place(kit=kit, place=values["place"], **way)


@require_POST
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Close the kit; one that is short needs a reason."""
    form = CloseForm(request.POST)
    return _through(request, number, form, "close_form", _close)


def _close(kit: Kit, way: dict[str, Any], values: dict[str, Any]) -> None:
    kits.close(kit=kit, reason=values["reason"], **way)


@require_POST
def prove(request: HttpRequest, number: str) -> HttpResponse:
    """The kit's job ran good: its new pieces are sound, the set's chart is proved."""
    require(request, Verb.PROVE_SETS)
    note = request.POST.get("note", "")

    def act(kit: Kit, way: dict[str, Any]) -> None:
        confirm(request)
        n = proving.prove_set(kit=kit, note=note, **way)
        said = ngettext("Proved: {n} piece is sound.", "Proved: {n} pieces are sound.", n)
        messages.success(request, said.format(n=n))

    return _done(request, number, act, verb=Verb.PROVE_SETS)


def _through(
    request: HttpRequest,
    number: str,
    form: Any,
    name: str,
    act: Callable[[Kit, dict[str, Any], dict[str, Any]], None],
) -> HttpResponse:
    """A form of the kit's page: refused, it stands there again with what was typed."""
    require(request, Verb.GATHER_KITS)
    kit = find_kit(number)
    if form.is_valid():
        try:
            act(kit, _way(request), form.cleaned_data)
        except NotAllowed:
            raise
        except ToolingError as error:
            if kit.state == KitState.CLOSED:  # its page has no forms any more
                return kit_answer(request, number, status=error.status, error=error)
            form.refuse(error)
        else:
            return redirect("kit", kit.number)
    return kit_answer(request, number, status=400, **{name: form})


@require_POST
def choose(request: HttpRequest, number: str) -> HttpResponse:
    """Take this piece, or one of this bin's count, for a position instead."""
    code = request.POST.get("code", "").strip()

    def act(kit: Kit, way: dict[str, Any]) -> str:
        position = _position(kit, request.POST.get("position"))
        filler = find_filler(code)
        what = {"piece": filler} if isinstance(filler, Piece) else {"line": filler}
        kits.choose(kit=kit, position=position, **what, **way)
        return f"#station-{position.station_number}"

    return _done(request, number, act)


@require_POST
def tick(request: HttpRequest, number: str) -> HttpResponse:
    """What a position calls for lies in the kit: ticked, its label not being read."""

    def act(kit: Kit, way: dict[str, Any]) -> str:
        position = _position(kit, request.POST.get("position"))
        code = _claimed_code(kit, position, way)
        _record(request, kit, [code], quantities={} if position.piece else {code: 1})
        return f"#list-{position.station_number}"

    return _done(request, number, act)


def _claimed_code(kit: Kit, position: KitPosition, way: dict[str, Any]) -> str:
    """The label code of what a position claims. A set from paper becomes pieces when the first
    of them is handled."""
    if position.piece is not None:
        return position.piece.code
    chosen = bin_for(kit.number, position.pk, at=way["at"])
    if chosen:
        return chosen
    asked = position.set_position_id
    if kit.copy is not None and kit.copy.from_paper_count is not None and asked is not None:
        return handle(copy_id=kit.copy.pk, position_id=asked, to=kit.number, **way)
    raise ToolingError(
        "nothing_chosen",
        gettext_lazy(
            "Nothing is chosen for this position yet, or no bin has any. Choose a piece, or count "
            "the bin it came from."
        ),
    )


@require_POST
def fetch(request: HttpRequest, number: str) -> HttpResponse:
    """Everything that was ticked on the pull list lies in the kit now."""
    ticked = list(dict.fromkeys(request.POST.getlist("code")))
    quantities = {code: n for code in ticked if (n := request.POST.get(f"take-{code}"))}

    def act(kit: Kit, way: dict[str, Any]) -> None:
        if not ticked:
            raise ToolingError("nothing_ticked", gettext_lazy("Tick what you fetched first."))
        taken = _record(request, kit, ticked, quantities=_numbers(quantities))
        words = ngettext("{n} is in the kit now.", "{n} are in the kit now.", taken)
        messages.success(request, words.format(n=taken))

    return _done(request, number, act, back="kit-pull-list")


def _numbers(written: Mapping[str, str]) -> dict[str, int]:
    """How many were taken of each bin. Raises ``absurd_quantity``."""
    for text in written.values():
        if not (text.isascii() and text.isdigit() and len(text) < 8):
            raise ToolingError(
                "absurd_quantity",
                gettext_lazy("“{text}” cannot be a number of pieces here. Write a whole number."),
                text=text[:20],
            )
    return {code: int(text) for code, text in written.items()}


def _record(
    request: HttpRequest, kit: Kit, ticked: Sequence[str], *, quantities: Mapping[str, int]
) -> int:
    """Ticks through the same service as a device's scans; how many pieces were taken. A bin
    without a quantity gives all that the kit still lacks of it.

    The first that was refused is raised with its own sentence.
    """
    by, now = person_of(request), timezone.now()
    results = scans.record_batch(
        by=by,
        at=now,
        device=f"desk of {by.username}",
        device_now=now,
        scans=[
            ScanIn(
                id=uuid.uuid4(),
                happened_at=now,
                to=kit.number,
                code=code,
                how=How.TICK,
                quantity=quantities.get(code),
            )
            for code in ticked
        ],
    )
    for result in results:
        if result.status == scans.REFUSED:
            raise ToolingError(result.code, "{said}", said=result.message)
    return sum(quantities.get(code, 1) for code in ticked)


@require_POST
def turn(request: HttpRequest, number: str) -> HttpResponse:
    """Turn the order of two jobs that want the same piece: the later one gathers first."""
    other = request.POST.get("other", "")

    def act(kit: Kit, way: dict[str, Any]) -> None:
        theirs: Job = get_row(Job.objects.all(), said=other, number=other)
        first, second = kit.job, theirs
        if _gathers_first(second) < _gathers_first(first):
            first, second = second, first
        jobs.edit(job=second, gathers_at=first.gathers_at - A_MINUTE, **way)

    return _done(request, number, act, verb=Verb.PLAN_JOBS)


def _gathers_first(job: Job) -> tuple[Any, ...]:
    return (job.gathers_at, job.starts_at, job.number)


def _position(kit: Kit, key: str | None) -> KitPosition:
    rows = KitPosition.objects.select_related("piece", "drawing")
    if not str(key).isdecimal():
        raise Unknown(
            "unknown_position",
            gettext_lazy("That position is not of this kit. Load the page again."),
        )
    found: KitPosition = get_row(rows.filter(kit=kit), said=f"{kit.number} {key}", pk=key)
    return found


def _way(request: HttpRequest) -> dict[str, Any]:
    return {"by": person_of(request), "at": timezone.now()}


def _done(
    request: HttpRequest,
    number: str,
    act: Callable[[Kit, dict[str, Any]], Any],
    *,
    back: str = "kit",
    verb: Verb = Verb.GATHER_KITS,
) -> HttpResponse:
    """Do it and show the page from which it was asked, at the place that ``act`` names."""
    require(request, verb)
    kit = find_kit(number)
    try:
        where = act(kit, _way(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return kit_answer(request, number, status=error.status, error=error)
    anchor = where if isinstance(where, str) else ""
    return redirect(reverse(back, args=[kit.number]) + anchor)
