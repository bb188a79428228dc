"""Stacks that somebody put together by hand, held to the same rules as those that are chosen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding
from tooling.engineering.stacks.eligibility import why_not
from tooling.engineering.stacks.specs import Fill, Pieces, Problem, Shaft, ShaftKey, Station
from tooling.engineering.stacks.windows import (
    before_window,
    length_of,
    looked_up,
    placed,
    sum_window,
    used,
)

WHY = {
    "not_fit": _("{piece} is not fit for use."),
    "bound": _("{piece} is bound elsewhere."),
    "bore": _("{piece}: its bore does not suit the shaft."),
    "key": _("{piece} does not pass the key."),
    "hub_seat": _("{piece} is too small for the hub beside it."),
    "clearance": _("{piece} is too large for its place."),
    "forbidden": _("{piece} is not to be used."),
    "not_for_this_fill": _("{piece} is not for this fill."),
}


def check_stacks(
    problem: Problem, stacks: Mapping[ShaftKey, Sequence[Pieces]]
) -> tuple[Finding, ...]:
    """What is right and wrong with stacks, fill by fill and shaft by shaft.

    ``stacks``: by (station, shaft) the pieces of each fill in order from the shoulder; shafts that
    are not named are not checked. ``values`` name shaft and fill. Raises ValueError for a shaft,
    a source or a number of fills that the problem has not.
    """
    for key, stack in stacks.items():
        if key not in problem.shafts or len(stack) != len(problem.shafts[key].fills):
            raise ValueError(f"{key[0]} {key[1]}: a shaft of the problem, one list per fill")
        strangers = {p for pieces in stack for p in pieces} - set(problem.by_key)
        if strangers:
            raise ValueError(f"no such source: {sorted(strangers)[0]}")
    findings = list(_supply(problem, stacks))
    for station in problem.stations:
        errors = {}
        for shaft in station.shafts:
            if (station.number, shaft.which) not in stacks:
                continue
            stack = stacks[station.number, shaft.which]
            for fill, pieces in zip(shaft.fills, stack, strict=True):
                findings += _fill(problem, station, shaft, fill, pieces)
            findings += _shaft(problem, station, shaft, stack)
            lengths = [length_of(problem, pieces) for pieces in stack]
            errors[shaft.which] = placed(problem.rules, shaft, lengths).guide_error_nm
        if len(errors) == 2:
            findings.append(_difference(problem, station, errors["top"] - errors["bottom"]))
    return tuple(findings)


def _supply(problem: Problem, stacks: Mapping[ShaftKey, Sequence[Pieces]]) -> Iterator[Finding]:
    for key, count in sorted(used(stacks).items()):
        there = problem.by_key[key].count
        if count > there:
            yield Finding(
                "supply", "no", "spacer_used_too_often",
                _("{piece} stands in {used} places; there are {there}."),
                {"piece": key, "used": count, "there": there},
            )  # fmt: skip


def _fill(
    problem: Problem, station: Station, shaft: Shaft, fill: Fill, pieces: Pieces
) -> Iterator[Finding]:
    values: dict[str, Any] = {"shaft": shaft.which, "fill": fill.key}
    sources = looked_up(problem, pieces)
    wrong = False
    for source in dict.fromkeys(sources):
        if not problem.may_use(source, fill):
            wrong = True
            code = _reason(problem, source.key, fill)
            yield _no(station, "eligible", code, WHY[code], values | {"piece": source.key})
    shims = sum(source.kind == "shim" for source in sources)
    if shims > problem.rules.most_shims:
        wrong = True
        yield _no(
            station, "shims", "too_many_shims", _("{fill}: {shims} shims, {most} are allowed."),
            values | {"shims": shims, "most": problem.rules.most_shims},
        )  # fmt: skip
    if shims and "shim" in (sources[0].kind, sources[-1].kind):
        wrong = True
        yield _no(
            station, "shims", "shim_at_the_end",
            _("{fill}: a shim lies between two spacers, not at an end."), values,
        )  # fmt: skip
    window = fill.window_nm
    length_nm = length_of(problem, pieces)
    if window is not None and not window[0] <= length_nm <= window[1]:
        wrong = True
        code = "fill_short" if length_nm < window[0] else "fill_long"
        yield _no(
            station, "fill", code, _("{fill} is {length}; it must be from {least} to {most}."),
            values | _three(length_nm, window),
        )  # fmt: skip
    if not wrong:
        yield Finding(
            "fill", "ok", "fill_holds", _("{fill} is {length}."),
            values | {"length_nm": length_nm}, station=station.number,
        )  # fmt: skip


def _reason(problem: Problem, key: str, fill: Fill) -> str:
    if key in problem.forbid:
        return "forbidden"
    if fill.only is not None and key not in fill.only:
        return "not_for_this_fill"
    return why_not(problem.by_key[key].body, fill.seat) or "not_for_this_fill"


def _shaft(
    problem: Problem, station: Station, shaft: Shaft, stack: Sequence[Pieces]
) -> Iterator[Finding]:
    rules = problem.rules
    lengths = [length_of(problem, pieces) for pieces in stack]
    lies = placed(rules, shaft, lengths)
    values: dict[str, Any] = {"shaft": shaft.which, "fill": None}
    low, high = before_window(rules, shaft)
    if not low <= sum(lengths[: shaft.before]) <= high:
        code = "guide_inboard" if lies.guide_error_nm < rules.guide_nm[0] else "guide_outboard"
        yield _no(
            station, "guide", code,
            _("The {shaft} shaft's guide point lies {length} from the guide plane; it may lie from "
              "{least} to {most}."),
            values | _three(lies.guide_error_nm, rules.guide_nm),
        )  # fmt: skip
    else:
        yield Finding(
            "guide", "ok", "guide_holds", _("The {shaft} shaft's guide point is off by {length}."),
            values | {"length_nm": lies.guide_error_nm}, station=station.number,
        )  # fmt: skip
    low, high = sum_window(rules, shaft)
    if not low <= sum(lengths) <= high:
        code = "stack_short" if lies.over_nm < rules.closing_nm[0] else "stack_long"
        yield _no(
            station, "closing", code,
            _("The {shaft} shaft's stack stands {length} beyond the roll space; {least} to {most} "
              "is right."),
            values | _three(lies.over_nm, rules.closing_nm),
        )  # fmt: skip
    else:
        yield Finding(
            "closing", "ok", "stack_closes",
            _("The {shaft} shaft's stack stands {length} beyond the roll space."),
            values | {"length_nm": lies.over_nm}, station=station.number,
        )  # fmt: skip


def _difference(problem: Problem, station: Station, difference_nm: int) -> Finding:
    window = problem.rules.difference_nm
    values: dict[str, Any] = {"shaft": None, "fill": None} | _three(difference_nm, window)
    if window[0] <= difference_nm <= window[1]:
        return Finding(
            "difference", "ok", "shafts_agree", _("Top minus bottom is {length}."), values,
            station=station.number,
        )  # fmt: skip
    return _no(
        station, "difference", "shafts_differ",
        _("Top minus bottom is {length}; it may be from {least} to {most}."), values,
    )  # fmt: skip


def _three(length_nm: int, window: tuple[int, int]) -> dict[str, int]:
    return {"length_nm": length_nm, "least_nm": window[0], "most_nm": window[1]}


def _no(
    station: Station, check: str, code: str, template: object, values: Mapping[str, Any]
) -> Finding:
    return Finding(check, "no", code, template, values, station=station.number)
