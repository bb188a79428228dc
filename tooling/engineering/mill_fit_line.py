"""The fit of a set along the line: neighbours against the horizontal centres, side-roll room."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding, Spot
from tooling.engineering.how import Step
from tooling.engineering.mill_specs import Fitting, PassSpec, StationSpec

PlacedPass = tuple[PassSpec, StationSpec]


def check_line(fitting: Fitting, placed: Sequence[PlacedPass]) -> list[Finding]:
    """Neighbouring rolls on each shaft, and the room of the side rolls."""
    ordered = sorted(placed, key=lambda each: each[1].number)
    return [*_check_neighbours(fitting, ordered), *_check_side_roll_room(ordered)]


def _check_neighbours(fitting: Fitting, placed: Sequence[PlacedPass]) -> Iterator[Finding]:
    for (before, station), (after, next_station) in pairwise(placed):
        centre_nm, missing = centre_distance(fitting, station.number, next_station.number)
        for which in ("top", "bottom"):
            first, second = _largest_nm(before, which), _largest_nm(after, which)
            if first is None or second is None:
                continue
            yield _check_pair(
                fitting, (before, station), (after, next_station), which,
                (first, second), centre_nm, missing,
            )  # fmt: skip


def centre_distance(fitting: Fitting, first: int, last: int) -> tuple[int | None, tuple[str, ...]]:
    """Sum of the horizontal centres from one station to another, None where one is unknown."""
    between = [each for each in fitting.mill.stations if first <= each.number < last]
    missing = tuple(
        f"station {each.number}.centre_to_next_nm"
        for each in between
        if each.centre_to_next_nm is None
    )
    if missing:
        return None, missing
    return sum(each.centre_to_next_nm or 0 for each in between), ()


def _check_pair(
    fitting: Fitting,
    before: PlacedPass,
    after: PlacedPass,
    which: str,
    outsides_nm: tuple[int, int],
    centre_nm: int | None,
    missing: tuple[str, ...],
) -> Finding:
    where: Spot = {"station": before[1].number, "pass_number": before[0].number}
    values: dict[str, object] = {
        "shaft": which, "before": before[0].number, "after": after[0].number,
        "before_od_nm": outsides_nm[0], "after_od_nm": outsides_nm[1], "centre_nm": centre_nm,
    }  # fmt: skip
    if centre_nm is None:
        return Finding(
            "horizontal_centres", "warn", "horizontal_not_measured",
            _("Pass {before} and {after}: the distance of their stations was never measured."),
            values, unmeasured=missing, **where,
        )  # fmt: skip
    clear = centre_nm - Fraction(sum(outsides_nm), 2)
    values["clear_nm"] = int(clear)
    step = Step(
        what=f"passes {before[0].number} and {after[0].number}, {which}: clear between them",
        formula="horizontal centres − (D_before + D_after) / 2",
        source="geometry",
        inputs={
            "centre_nm": centre_nm, "before_nm": outsides_nm[0], "after_nm": outsides_nm[1],
        },
        value=float(clear),
    )  # fmt: skip
    if clear <= 0:
        return Finding(
            "horizontal_centres", "no", "neighbours_touch",
            _("Pass {before} and {after} touch on the {shaft} shafts: outside {before_od} and "
              "{after_od} at centres of {centre}."),
            values, steps=(step,), **where,
        )  # fmt: skip
    if clear < fitting.limits.clear_least_nm:
        return Finding(
            "horizontal_centres", "warn", "neighbours_close",
            _("Pass {before} and {after} come within {clear} on the {shaft} shafts."), values,
            steps=(step,), **where,
        )  # fmt: skip
    return Finding(
        "horizontal_centres", "ok", "neighbours_clear",
        _("Pass {before} and {after}: {clear} clear on the {shaft} shafts."), values,
        steps=(step,), **where,
    )  # fmt: skip


def _largest_nm(set_pass: PassSpec, which: str) -> int | None:
    return max((r.largest_nm() or 0 for r in set_pass.on(which)), default=0) or None


def _check_side_roll_room(placed: Sequence[PlacedPass]) -> Iterator[Finding]:
    for set_pass, station in placed:
        if not set_pass.on("side"):
            continue
        where: Spot = {"station": station.number, "pass_number": set_pass.number}
        largest_nm, room_nm = _largest_nm(set_pass, "side"), station.side_roll_room_nm
        values = {
            "pass_number": set_pass.number, "outside_nm": largest_nm, "room_nm": room_nm,
        }  # fmt: skip
        if room_nm is None or largest_nm is None:
            missing = (
                f"station {station.number}.side_roll_room_nm" if room_nm is None
                else f"pass {set_pass.number}.side.outside_diameter_nm"
            )  # fmt: skip
            yield Finding(
                "side_roll_room", "warn", "side_room_not_measured",
                _("Pass {pass_number}: the side rolls or the room for them were never measured."),
                values, unmeasured=(missing,), **where,
            )  # fmt: skip
            continue
        fits = largest_nm <= room_nm
        yield Finding(
            "side_roll_room", "ok" if fits else "no", "side_room" if fits else "side_room_lacking",
            _("Pass {pass_number}: side rolls of {outside} in a room of {room}.") if fits else
            _("Pass {pass_number}: its side rolls of {outside} do not go into the room of {room}."),
            values, **where,
            steps=(Step(f"pass {set_pass.number}: room left beside its side rolls", "room − D",
                        "geometry", {"room_nm": room_nm, "outside_nm": largest_nm},
                        room_nm - largest_nm),),
        )  # fmt: skip
