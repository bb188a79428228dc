"""A kit in sentences: how complete it is, and the one thing to do next."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tooling.models import Kit, KitState, Shaft
from tooling.queries.kit_views import (
    GRAVEST_FIRST,
    Counts,
    NextStep,
    PositionView,
    State,
    Verdict,
)


def where_words(pass_number: int, shaft: str, order: int, where: str = "") -> str:
    """Where a position is: ``pass 14, top, 2 from the shoulder``; side rolls are numbered, and so
    is what stands on the line, with ``where`` it stands."""
    if shaft == Shaft.LINE:
        at = _("on the line, pass {number}, no. {order}").format(number=pass_number, order=order)
        return f"{at}, {where}" if where else at
    if shaft == Shaft.SIDE:
        return _("pass {number}, side roll {order}").format(number=pass_number, order=order)
    words = _("pass {number}, {shaft}, {order} from the shoulder")
    return words.format(number=pass_number, shaft=Shaft(shaft).label, order=order)


def closed_words(kit: Kit) -> str:
    """When a kit was closed and, if it was short, why."""
    day = date_format(timezone.localtime(kit.closed_at), "Y-m-d H:i") if kit.closed_at else "–"
    if kit.is_short:
        return _("Closed short on {day}: {reason}").format(day=day, reason=kit.short_reason)
    return _("Closed complete on {day}.").format(day=day)


def header_for(kit: Kit, counts: Counts, told: Sequence[Verdict | PositionView]) -> str:
    """One sentence: "41 of 48 pieces here, 5 to fetch, 1 missing, 1 to measure before this run"."""
    if kit.state == KitState.CLOSED:
        return closed_words(kit)
    parts = [
        _("{here} of {total} pieces here").format(here=counts.here, total=counts.total),
        *_parts(counts, sum(each.to_sharpen for each in told if each.state == State.MAY_NOT_LAST)),
    ]
    not_yet_seen, new = sum(each.not_yet_seen for each in told), sum(each.is_new for each in told)
    if not_yet_seen:
        parts.append(_("{count} not yet seen").format(count=not_yet_seen))
    if new:
        parts.append(_("{count} new, not proved yet").format(count=new))
    return ", ".join(parts)


def _parts(counts: Counts, to_sharpen: int) -> list[str]:
    told = (
        (counts.to_fetch, _("{count} to fetch")),
        (counts.missing, _("{count} missing")),
        (counts.worn, _("{count} worn")),
        (counts.may_not_last - to_sharpen, _("{count} to measure before this run")),
        (to_sharpen, _("{count} to sharpen before this run")),
        (counts.held, _("{count} held")),
        (counts.out, _("{count} out")),
        (counts.taken, _("{count} taken by other jobs")),
        (
            counts.does_not_fit,
            ngettext("{count} does not fit", "{count} do not fit", counts.does_not_fit),
        ),
    )
    return [words.format(count=count) for count, words in told if count]


def next_step_for(kit: Kit, views: Sequence[PositionView], counts: Counts) -> NextStep:
    """The one next thing: assemble, say where it is gathered, mend the gravest trouble, measure,
    fetch, close."""
    if kit.state == KitState.CLOSED:
        return NextStep("closed", closed_words(kit))
    if kit.assembled_at is None:
        return NextStep("assemble", _("Assemble the kit: choose the pieces for every position."))
    if kit.place_id is None:
        return NextStep(
            "choose_place", _("Choose where it is gathered: a cart, a plate or a rack of pegs.")
        )
    trouble = _gravest(views)
    if trouble is not None:
        measure = trouble.state == State.MAY_NOT_LAST and not trouble.to_sharpen
        code = "measure" if measure else "sharpen" if trouble.to_sharpen else "solve"
        return NextStep(code, _trouble_words(trouble), trouble)
    if counts.to_fetch:
        waiting = [view for view in views if view.state == State.TO_FETCH]
        first = next((view for view in waiting if view.place), waiting[0])
        return NextStep("fetch", _fetch_words(first, counts.to_fetch), first)
    return NextStep("close", _("All of it is here. Close the kit when the job is over."))


def _gravest(views: Sequence[PositionView]) -> PositionView | None:
    trouble = [view for view in views if view.is_trouble]
    return min(trouble, key=lambda view: GRAVEST_FIRST.index(view.state), default=None)


def _trouble_words(view: PositionView) -> str:
    where = where_words(view.pass_number, view.shaft, view.order, view.where)
    words = f"{where[:1].upper()}{where[1:]}: {view.reason}"
    if view.alternative is not None:
        words += " " + _("Instead: {alternative}.").format(alternative=view.alternative.said)
    return words


def _fetch_words(view: PositionView, count: int) -> str:
    name = view.mark or view.code or view.drawing
    if not view.place:
        words = ngettext(
            "Fetch the last one: {name}, bin chosen at staging.",
            "Fetch {count} pieces, {name} first, bin chosen at staging.",
            count,
        )
        return words.format(count=count, name=name)
    words = ngettext(
        "Fetch the last one: {name} from {place}.",
        "Fetch {count} pieces, {name} from {place} first.",
        count,
    )
    return words.format(count=count, name=name, place=view.place)
