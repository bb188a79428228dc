"""One station's numbers: what is aimed at, what was set, how far off and how far tilted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from tooling.engineering.gaps import Tilt, known_difference, tilt
from tooling.models import AsSet, DrawingRevision, KitPosition, Setup, Station
from tooling.queries.as_set import Aim, Key, aims_of, compares, last_set
from tooling.queries.kit_positions import sizes_of
from tooling.queries.pieces import size_of
from tooling.queries.settings import setting_values
from tooling.queries.setup_stacks import OnShaft, stacks_of
from tooling.queries.setup_views import SetupHead
from tooling.queries.setups import find_setup, head_of
from tooling.queries.strip_measures import StripView, strip_of

WINDOW, TILT = "gap_window", "tilt_warn"


@dataclass(frozen=True)
class EndView:
    """One end of a setting as it was set last; empty where it was not yet.

    ``off_nm`` and ``off``: how far from the target, None where the two do not compare;
    ``is_out``: beyond the window.
    """

    end: str
    value_nm: int | None = None
    value: float | None = None
    unit: str = ""
    method: str = ""
    method_word: str = ""
    is_loaded: bool | None = None
    by: str = ""
    at: datetime | None = None
    is_set: bool = False
    is_as_target: bool = False
    is_compared: bool = False
    off_nm: int | None = None
    is_out: bool = False


@dataclass(frozen=True)
class SettingView:
    """One setting of a station: the gap (no name) or another axis, with its ends."""

    name: str
    unit: str
    is_length: bool
    target_nm: int | None
    target: float | None
    method: str
    is_loaded: bool | None
    ends: tuple[EndView, ...]

    @property
    def has_target(self) -> bool:
        return self.target_nm is not None or self.target is not None

    @property
    def is_set(self) -> bool:
        return all(each.is_set for each in self.ends)


@dataclass(frozen=True)
class GapsPage:
    """The numbers of one station. ``tilt`` is None until both ends were set in one way."""

    head: SetupHead
    station: int
    pass_number: int | None
    gap_point: str
    window_nm: int
    settings: tuple[SettingView, ...]
    tilt: Tilt | None
    tilt_limit: float
    after: int | None
    strip: StripView
    zeroed_at: datetime | None

    @property
    def gap(self) -> SettingView:
        return self.settings[0]

    @property
    def has_target(self) -> bool:
        return any(each.has_target for each in self.settings)

    @property
    def is_out(self) -> bool:
        """Whether anything is to be set again: an end beyond the window, or a tilt."""
        ends = any(end.is_out for each in self.settings for end in each.ends)
        return ends or (self.tilt is not None and self.tilt.is_beyond)


def gaps_page(number: str, station: int) -> GapsPage:
    """Ten queries. Raises Unknown ``unknown_setup``."""
    return gaps_of(find_setup(number), station)


def gaps_of(setup: Setup, station: int) -> GapsPage:
    """The same of a setup that is loaded. Nine queries."""
    aims = aims_of(setup, station=station)
    done = last_set([setup.pk], station=station)
    names = ["gap_window", "tilt_warn"]
    job = setup.kit.job
    given = setting_values(names, unit=setup.mill.unit, mill=setup.mill, tool_set=job.tool_set)
    window, limit = int(given[WINDOW]), float(given[TILT])
    stacks = stacks_of(setup, stations=[station])
    gap = aims.get((station, "")) or Aim(station, "", setup.mill.unit, ("inboard", "outboard"))
    rest = _rest(setup, station, aims, done)
    settings = tuple(_setting(setup, aim, done, window) for aim in (gap, *rest))
    first = next((stack[0].row for stack in stacks.values()), None)
    positions = KitPosition.objects.filter(kit=setup.kit_id, station_number__gt=station)
    following = positions.exclude(shaft="line").order_by("station_number")
    zeroed = Station.objects.filter(mill=setup.mill_id, number=station).values_list(
        "screw_zeroed_at", flat=True
    )
    return GapsPage(
        head=head_of(setup),
        station=station,
        pass_number=first.pass_number if first else None,
        gap_point=gap.gap_point,
        window_nm=window,
        settings=settings,
        tilt=tilt_of(stacks, station, settings[0], limit),
        tilt_limit=limit,
        after=following.values_list("station_number", flat=True).first(),
        strip=strip_of(setup),
        zeroed_at=zeroed.first(),
    )


def _rest(
    setup: Setup, station: int, aims: Mapping[tuple[int, str], Aim], done: Mapping[Key, AsSet]
) -> list[Aim]:
    """The other axes of the chart, then what else was set here."""
    found = {name: aim for (_n, name), aim in aims.items() if name}
    for (_setup, _n, name, end), row in done.items():
        if name and name not in found:
            found[name] = Aim(station, name, row.unit, (end,))
    return list(found.values())


def _setting(setup: Setup, aim: Aim, done: Mapping[Key, AsSet], window: int) -> SettingView:
    ends = tuple(
        _end(end, done.get((setup.pk, aim.station, aim.name, end)), aim, window) for end in aim.ends
    )
    return SettingView(
        aim.name, aim.unit, aim.is_length, aim.target_nm, aim.target, aim.method, aim.is_loaded,
        ends,
    )  # fmt: skip


def _end(end: str, row: AsSet | None, aim: Aim, window: int) -> EndView:
    if row is None:
        return EndView(end)
    is_compared = compares(row, aim)
    off = None
    if is_compared and row.value_nm is not None and aim.target_nm is not None:
        off = row.value_nm - aim.target_nm
    return EndView(
        end=end,
        value_nm=row.value_nm,
        value=row.value,
        unit=row.unit,
        method=row.method,
        method_word=str(row.get_method_display()) if row.method else "",
        is_loaded=row.is_loaded,
        by=str(row.by) if row.by else "",
        at=row.happened_at,
        is_set=True,
        is_as_target=row.is_as_target,
        is_compared=is_compared,
        off_nm=off,
        is_out=not aim.name and off is not None and abs(off) > window,
    )


def tilt_of(
    stacks: Mapping[tuple[int, str], Sequence[OnShaft]],
    station: int,
    gap: SettingView,
    limit: float,
) -> Tilt | None:
    """How far the shafts are out of parallel, by both ends found in one way. One query.

    The span is taken from the widths of the rolls on the shaft where they reach less far; what
    the diameters alone make of it is how far the end rolls are off their drawings.
    """
    inboard, outboard = (next((e for e in gap.ends if e.end == which), None)
                         for which in ("inboard", "outboard"))  # fmt: skip
    if inboard is None or outboard is None or inboard.value_nm is None or outboard.value_nm is None:
        return None
    if (inboard.method, inboard.is_loaded) != (outboard.method, outboard.is_loaded):
        return None
    rolls = {
        shaft: [e.row for e in stacks.get((station, shaft), ()) if e.row.drawing.kind == "roll"]
        for shaft in ("top", "bottom")
    }
    revisions = _revisions(rolls.values())
    spans = [
        sum(sizes_of(row, revisions.get(row.drawing_id))["face_width"] or 0 for row in mine)
        for mine in rolls.values()
        if mine
    ]
    span = min((each for each in spans if each), default=None)
    if span is None or inboard.value_nm < 0 or outboard.value_nm < 0:
        return None
    return tilt(
        inboard_nm=inboard.value_nm,
        outboard_nm=outboard.value_nm,
        span_nm=span,
        known_difference_nm=_difference(rolls, revisions),
        warn_per_100=limit,
    )


def _revisions(rolls: object) -> dict[int, DrawingRevision]:
    ids = {row.drawing_id for mine in rolls for row in mine}  # type: ignore[attr-defined]
    rows = DrawingRevision.objects.filter(drawing__in=ids, is_current=True)
    return {row.drawing_id: row for row in rows}


def _difference(
    rolls: Mapping[str, Sequence[KitPosition]], revisions: Mapping[int, DrawingRevision]
) -> Fraction:
    """What recuts of the end rolls make of the gap: nothing where they are as drawn."""
    ends = [(mine[0], mine[-1]) for mine in rolls.values() if mine]
    if len(ends) != 2:
        return Fraction(0)
    (top_in, top_out), (bottom_in, bottom_out) = ends
    off = {id(row): _off_drawing(row, revisions) for pair in ends for row in pair}
    return known_difference(
        inboard_diameters_nm=(off[id(top_in)], off[id(bottom_in)]),
        outboard_diameters_nm=(off[id(top_out)], off[id(bottom_out)]),
    )


def _off_drawing(row: KitPosition, revisions: Mapping[int, DrawingRevision]) -> int:
    """Present drive diameter less the drawn one; nothing where either is not known."""
    revision = revisions.get(row.drawing_id)
    drawn = revision.drive_diameter_nm if revision else None
    present = size_of(row.piece, "drive_diameter") if row.piece else None
    return present - drawn if drawn and present else 0
