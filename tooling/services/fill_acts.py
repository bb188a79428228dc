"""What people decide about fills themselves: pinned, swapped, put together by hand. Everything is
checked by the rules that the computation keeps."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import cast

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, parse_length, say_length
from tooling.engineering.stacks.eligibility import why_not
from tooling.engineering.stacks.specs import Pieces, Shaft, Source
from tooling.engineering.stacks.windows import (
    before_window,
    length_of,
    looked_up,
    placed,
    shaft_holds,
    shims_hold,
    sum_window,
)
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Kit, KitPosition, Person
from tooling.permissions import Verb, check_can
from tooling.queries.fill_problem import fill_problem, standing_problem
from tooling.queries.fill_views import FillProblem, source_key
from tooling.services.fill_rows import Written
from tooling.services.fills import change_fills, check_not_mounted, fill_row, fresh, pinned_fills
from tooling.services.write import lock, writing

BETWEEN = re.compile(r"[+;\n]+")
MOST_PIECES = 40


def pin(
    *, by: Person, at: datetime, kit: Kit, position: KitPosition, is_pinned: bool = True
) -> Written:
    """The fill of this spacer stays as it is when the rest is solved again; or may change.

    Raises NotAllowed, ``kit_closed``, ``no_fill``.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        given = standing_problem(fresh(kit))
        fill = _fill_of(given, fill_row(given, position))
        pinned = pinned_fills(given) | {fill} if is_pinned else pinned_fills(given) - {fill}
        what = "fill pinned" if is_pinned else "fill no longer pinned"
        same = {fill: given.keys_of(fill)}
        return change_fills(by=by, at=at, given=given, fills=same, pinned=pinned, what=what)


def swap(*, by: Person, at: datetime, kit: Kit, position: KitPosition, code: str) -> Written:
    """Another spacer stands here instead: by its code, mark, drawing or length. The fill is pinned.

    Raises as ``by_hand``, and ``no_fill``.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        given = fill_problem(fresh(kit), at=at)
        row = fill_row(given, position)
        fill = _fill_of(given, row)
        rows = given.standing[fill]
        other = _found(given, fill, code)
        keys = [other if each.pk == row.pk else source_key(each) for each in rows]
        return _put(by, at, given, fill, keys, "spacer swapped")


def by_hand(
    *, by: Person, at: datetime, kit: Kit, station: int, shaft: str, fill: str, text: str,
    after: int = 0,
) -> Written:  # fmt: skip
    """A fill put together by a person, from the shoulder: length marks, drawings, codes or marks
    with + between them. It is pinned; solving fills the rest around it. ``after``: of a middle
    fill, the set's order of the position before it.

    Raises NotAllowed, ``kit_closed``, ``shaft_mounted``, ``unknown_fill``, ``no_such_spacer``,
    ``ambiguous_spacer``, ``spacer_does_not_suit``, ``spacers_not_enough``, ``shims_not_allowed``,
    ``outside_window``, what ``parse_length`` raises.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        given = fill_problem(fresh(kit), at=at)
        key = next(
            (
                key for key, spot in given.spots.items()
                if (spot.station, spot.shaft, spot.fill) == (station, shaft, fill)
                and (fill != "middle" or after in (0, spot.after))
            ),
            None,
        )  # fmt: skip
        if key is None:
            raise Unknown(
                "unknown_fill",
                _("Station {station} has no such fill on that shaft. Load the page again."),
                station=station,
            )
        parts = [part.strip() for part in BETWEEN.split(text) if part.strip()]
        if len(parts) > MOST_PIECES:
            raise ToolingError(
                "absurd_quantity", _("More than {n} spacers in one fill: check what you wrote."),
                n=MOST_PIECES, in_field="text",
            )  # fmt: skip
        keys: list[str] = []
        for part in parts:
            keys.append(_found(given, key, part, beside=keys))
        return _put(by, at, given, key, keys, "fill put together by hand")


def _fill_of(given: FillProblem, row: KitPosition) -> str:
    fill = given.spot_of(row)
    if fill is None:
        raise Conflict(
            "no_fill", _("The set calls for no fill there any more. Fill the shafts again.")
        )
    return fill


def _put(
    by: Person, at: datetime, given: FillProblem, fill: str, keys: Sequence[str], what: str
) -> Written:
    check_not_mounted(given, given.fills[fill][0])
    pieces = tuple(keys)
    _check_rules(given, fill, pieces)
    _check_counts(given, fill, pieces)
    _check_windows(given, fill, pieces)
    pinned = pinned_fills(given) | {fill}
    return change_fills(by=by, at=at, given=given, fills={fill: pieces}, pinned=pinned, what=what)


def _found(given: FillProblem, fill: str, said: str, *, beside: Sequence[str] = ()) -> str:
    """The source that is meant: by code, mark or drawing, else by its length mark."""
    text = " ".join(said.split())
    folded = text.upper()
    named = [
        key for key, what in given.stuff.items()
        if folded in (key.upper(), what.drawing.upper() if what.piece is None else "")
        or (what.piece is not None and what.piece.mark.upper() == folded)
    ]  # fmt: skip
    if not named:
        named = _of_length(given, fill, text)
    used = Counter([*_elsewhere(given, fill), *beside])
    free = [key for key in named if used[key] < given.problem.by_key[key].count]
    if not (free or named):
        raise Unknown(
            "no_such_spacer",
            _("No spacer or shim “{said}” is free for this kit. Write its length mark, drawing, "
              "mark or code."),
            said=text[:40], in_field="text",
        )  # fmt: skip
    return (free or named)[0]


def _of_length(given: FillProblem, fill: str, text: str) -> list[str]:
    """Sources of exactly this length, pooled ones first: those that suit, else all, so that it is
    said why they do not."""
    unit = cast(Unit, given.kit.job.mill.unit)
    length = parse_length(text, unit=unit, field=_now("Spacer")).nm
    place = given.fills[fill][2]
    alike = [source for source in given.problem.sources if source.length_nm == length]
    suitable = [source for source in alike if given.problem.may_use(source, place)]
    return sorted(
        (source.key for source in suitable or alike),
        key=lambda key: (given.stuff[key].piece is not None, key),
    )


def _elsewhere(given: FillProblem, fill: str) -> list[str]:
    """What stands in the kit's other fills."""
    return [key for other in given.standing if other != fill for key in given.keys_of(other)]


SHAPE = {
    "not_fit": _("it is not fit for use"),
    "bound": _("it is claimed elsewhere"),
    "bore": _("its bore does not go on the shaft"),
    "key": _("it does not go over the key"),
    "hub_seat": _("its outside diameter is smaller than the hub's seat"),
    "clearance": _("its outside diameter is more than what clears here"),
}


def _check_rules(given: FillProblem, fill: str, pieces: Pieces) -> None:
    problem, place = given.problem, given.fills[fill][2]
    sources: tuple[Source, ...] = looked_up(problem, pieces)
    for source in sources:
        why = why_not(source.body, place.seat)
        if why is not None:
            raise Conflict(
                "spacer_does_not_suit",
                _("{name} cannot stand there: {why}. Choose another."),
                name=given.stuff[source.key].name, why=SHAPE[why], in_field="text",
            )  # fmt: skip
    if not shims_hold(problem.rules, sources):
        raise Conflict(
            "shims_not_allowed",
            _("At most {n} shims stand in one fill, each between two spacers, never against a roll "
              "or the nut."),
            n=problem.rules.most_shims, in_field="text",
        )  # fmt: skip


def _check_counts(given: FillProblem, fill: str, pieces: Pieces) -> None:
    others = Counter(_elsewhere(given, fill))
    for key, count in Counter(pieces).items():
        there = given.problem.by_key[key].count
        if count + others[key] > there:
            raise Conflict(
                "spacers_not_enough",
                _("Of {name} this kit may have {there}, and its other fills use {used}. Choose "
                  "another."),
                name=given.stuff[key].name, there=there, used=others[key], in_field="text",
            )  # fmt: skip


def _check_windows(given: FillProblem, fill: str, pieces: Pieces) -> None:
    """As far as the other fills are there already: guide plane, closing, top against bottom."""
    (station, _which), shaft, _fill = given.fills[fill]
    unit = cast(Unit, given.kit.job.mill.unit)
    length = length_of(given.problem, pieces)
    low, high = _window(given, fill, shaft)
    if low <= length <= high:
        return
    if low > high:
        raise Conflict(
            "outside_window",
            _("Station {station}: with the other fills as they are nothing can stand there. Solve "
              "again without it."),
            station=station, in_field="text",
        )  # fmt: skip
    raise Conflict(
        "outside_window",
        _("Station {station}: these make {length}; the fill must be {low} to {high}."),
        station=station, length=say_length(length, unit), low=say_length(max(low, 0), unit),
        high=say_length(high, unit), in_field="text",
    )  # fmt: skip


def _window(given: FillProblem, fill: str, shaft: Shaft) -> tuple[int, int]:
    """Least and most of a fill beside those of the station's others that are filled."""
    rules = given.problem.rules
    lengths, known = _lengths(given, shaft)
    at = next(turn for turn, each in enumerate(shaft.fills) if each.key == fill)
    room = [(0, shaft.roll_space_nm)]
    own = shaft.fills[at].window_nm
    if own is not None:
        room.append(own)
    others = [n for n in range(len(lengths)) if n != at]
    if all(known[n] for n in others):
        room.append(_less(sum_window(rules, shaft), sum(lengths[n] for n in others)))
    before = [n for n in others if n < shaft.before]
    if at < shaft.before and all(known[n] for n in before):
        window = before_window(rules, shaft)
        room.append(_less(window, sum(lengths[n] for n in before)))
        opposite = _opposite(given, shaft)
        if opposite is not None:
            lengths[at] = 0
            error = placed(rules, shaft, lengths).guide_error_nm
            low, high = rules.difference_nm
            low, high = (low, high) if shaft.which == "top" else (-high, -low)
            room.append((low + opposite - error, high + opposite - error))
    return max(each[0] for each in room), min(each[1] for each in room)


def _less(window: tuple[int, int], taken: int) -> tuple[int, int]:
    return window[0] - taken, window[1] - taken


def _lengths(given: FillProblem, shaft: Shaft) -> tuple[list[int], list[bool]]:
    """Of each fill of a shaft its length, and whether that is meant: an empty one is where the
    shaft as a whole is within its windows."""
    found = [length_of(given.problem, _known(given, each.key)) for each in shaft.fills]
    whole = shaft_holds(given.problem.rules, shaft, found)
    return found, [whole or length > 0 for length in found]


def _known(given: FillProblem, fill: str) -> Pieces:
    return tuple(key for key in given.keys_of(fill) if key in given.problem.by_key)


def _opposite(given: FillProblem, shaft: Shaft) -> int | None:
    """The guide error of the station's other shaft, where it is filled so far."""
    for station in given.problem.stations:
        if not any(each is shaft for each in station.shafts):
            continue
        for other in station.shafts:
            if other.which != shaft.which:
                lengths, known = _lengths(given, other)
                if all(known[: other.before]):
                    return placed(given.problem.rules, other, lengths).guide_error_nm
    return None
