"""The pull list of a kit: what to fetch in walking order, with mass and lifting caution."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import groupby

from django.utils.translation import gettext as _

from tooling.models import Place
from tooling.queries.kit_load import load_of
from tooling.queries.kit_positions import troubles_of
from tooling.queries.kit_views import KitPage, PositionView, State
from tooling.queries.kit_words import where_words
from tooling.queries.kits import KitReading, page_of, read_kit
from tooling.queries.pull_views import PullLater, PullLine, PullList, PullStop

FETCHED = (State.TO_FETCH, State.MAY_NOT_LAST)
Walk = tuple[int, str]
"""Walking order of a place, then its path."""


def pull_list(number: str, *, at: datetime) -> PullList:
    """What still has to be fetched, place by place; a count of one bin is one line.

    Bins are chosen for whatever is counted: somebody goes to fetch. As many queries as the kit's
    own page. Raises Unknown ``unknown_kit``.
    """
    reading = read_kit(number, at=at, is_fetching=True)
    page = page_of(reading)
    walks = _walks(reading)
    fetched = [view for view in page.positions if view.state in FETCHED and not view.is_staged]
    later = [view for view in fetched if view.is_pooled and not view.stock]
    wanted = [view for view in fetched if not view.is_pooled or view.stock]
    wanted.sort(key=lambda view: walks.get(view.place_code, (2**31, view.place)))
    stops = tuple(
        PullStop(views[0].place, code, _lines(views))
        for code, views in (
            (code, list(group)) for code, group in groupby(wanted, key=lambda v: v.place_code)
        )
    )
    load = load_of(wanted, reading.kit.place)
    return PullList(
        kit=page.number,
        version=page.version,
        made_at=at,
        job=page.job,
        copy_letter=page.copy_letter,
        to_place=page.place,
        to_place_code=page.place_code,
        header=page.header,
        stops=stops,
        later=_later(later),
        not_to_fetch=_troubles(page),
        pieces=len(wanted),
        kg=load.kg,
        unknown=load.unknown,
        load=page.load,
    )


def _troubles(page: KitPage) -> tuple[PositionView, ...]:
    views = [v for v in page.positions if v.is_trouble and v.state not in FETCHED]
    return tuple(each.position for each in troubles_of(views))


def _later(views: Sequence[PositionView]) -> tuple[PullLater, ...]:
    by_drawing: dict[str, list[PositionView]] = {}
    for view in views:
        by_drawing.setdefault(view.drawing, []).append(view)
    return tuple(
        PullLater(drawing, len(rows), rows[0].reason) for drawing, rows in by_drawing.items()
    )


def _walks(reading: KitReading) -> Mapping[str, Walk]:
    places: set[Place] = {row.piece.place for row in reading.rows if row.piece is not None}
    for pool in reading.answers.facts[0].pools.by_drawing.values():
        places |= {line.place for line in pool.lines}
    return {place.code: (place.walking_order, place.path_name) for place in places}


def _lines(views: Sequence[PositionView]) -> tuple[PullLine, ...]:
    """Pieces one by one, then bins with how many to take of each."""
    bins: dict[str, list[PositionView]] = {}
    for view in views:
        if view.stock:
            bins.setdefault(view.stock, []).append(view)
    pieces = [_line([view]) for view in views if not view.stock]
    return (*pieces, *(_line(group) for group in bins.values()))


def _line(views: Sequence[PositionView]) -> PullLine:
    view, count = views[0], len(views)
    return PullLine(
        place=view.place,
        place_code=view.place_code,
        code=view.code,
        mark=view.mark,
        drawing=view.drawing,
        kind=view.kind,
        quantity=count,
        mass_kg=None if view.mass_kg is None else view.mass_kg * count,
        caution=view.caution,
        caution_said=caution_words(view.caution),
        where=_where(views),
        peg=view.peg if len({each.peg for each in views}) == 1 else "",
        not_yet_seen=view.not_yet_seen,
        note=_note(view),
        of=view.stock_count,
    )


MOST_SPOTS = 3
"""So many positions of a count are told one by one."""


def _where(views: Sequence[PositionView]) -> str:
    """For which positions; of many only how many, and between which passes."""
    if len(views) <= MOST_SPOTS:
        return "; ".join(where_words(v.pass_number, v.shaft, v.order, v.where) for v in views)
    passes = sorted({view.pass_number for view in views})
    words = _("{count} positions, passes {first} to {last}")
    if len(passes) == 1:
        words = _("{count} positions, pass {first}")
    return words.format(count=len(views), first=passes[0], last=passes[-1])


def _note(view: PositionView) -> str:
    """What to mind of the piece: why it may not last or stands in, and a newer revision's note."""
    reason = view.reason if view.state == State.MAY_NOT_LAST else view.substitute_reason
    return " ".join(filter(None, (view.revision_note, reason)))


def caution_words(caution: str) -> str:
    """What to say beside a mass; empty for light ones."""
    return {
        "heavy": _("Heavy: lift with care."),
        "two_people": _("Two people or a hoist."),
    }.get(caution, "")
