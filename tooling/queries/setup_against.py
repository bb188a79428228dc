"""Two setups of one set, station by station: what was set, what was left out, how long it took."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.engineering.last_good import Conditions, Screws, Struck, follows, translate
from tooling.errors import Conflict
from tooling.models import AsSet, Setup, ShaftAct, ShaftMount, Station
from tooling.queries.as_set import last_set
from tooling.queries.setup_sheet_rolls import Rolls, rolls_at
from tooling.queries.setup_views import SetupHead
from tooling.queries.setups import SHAFT_WORDS, find_setup, head_of
from tooling.queries.strip_measures import (
    Measures,
    measures_of,
    strip_of_number,
    strip_then,
)

WHY = {
    Struck.MILL: gettext_lazy("other mill"),
    Struck.METHOD: gettext_lazy("found in another way"),
    Struck.LOADED: gettext_lazy("loaded in one, not in the other"),
    Struck.ZERO: gettext_lazy("the screws' zero moved between them"),
    Struck.STRIP: gettext_lazy("the strip's thickness is not known"),
    Struck.DIAMETERS: gettext_lazy("diameters are not known"),
    Struck.LEAD: gettext_lazy("the screw's lead is not known"),
}


@dataclass(frozen=True)
class NumberPair:
    """One number in both setups. ``translated``: the other's as it should read with this one's
    strip; ``difference`` this one less that; both None where they do not compare, and ``why``."""

    station: int
    name: str
    end: str
    unit: str
    is_length: bool
    ours: float | None
    theirs: float | None
    ours_method: str
    theirs_method: str
    translated: float | None
    difference: float | None
    why: str


@dataclass(frozen=True)
class SideOf:
    """One of the two setups. ``mounting`` is from the start to the last shaft, ``to_good`` from the
    start to the first good part."""

    head: SetupHead
    strip_nm: int | None
    left_out: tuple[str, ...]
    mounting: timedelta | None
    to_good: timedelta | None


@dataclass(frozen=True)
class Against:
    """Two setups beside each other."""

    ours: SideOf
    theirs: SideOf
    numbers: tuple[NumberPair, ...]


def against(number: str, other: str, *, at: datetime) -> Against:
    """Both setups. Sixteen queries at most. Raises Unknown ``unknown_setup``, Conflict
    ``other_set`` and ``same_setup``."""
    ours, theirs = find_setup(number), find_setup(other)
    if ours.pk == theirs.pk:
        raise Conflict("same_setup", _("That is the same setup. Choose another of its set."))
    if ours.kit.job.tool_set_id != theirs.kit.job.tool_set_id:
        raise Conflict(
            "other_set",
            _("Kit {other} is of another set than kit {number}; their numbers say nothing of each "
              "other."),
            other=theirs.kit.number,
            number=ours.kit.number,
        )  # fmt: skip
    both = [ours.pk, theirs.pk]
    said, numbers, measures = _said(both), last_set(both), measures_of(both)
    stations = {each.number: each for each in Station.objects.filter(mill=ours.mill_id)}
    beside = _Beside(_Side.of(ours, measures, at), _Side.of(theirs, measures, at), stations)
    keys = sorted({(station, name, end) for _s, station, name, end in numbers})
    pairs = tuple(
        beside.pair(key, numbers.get((ours.pk, *key)), numbers.get((theirs.pk, *key)))
        for key in keys
    )
    our_side, their_side = (
        _side(each, said, strip_then(each, each.good_at or at, measures)) for each in (ours, theirs)
    )
    return Against(our_side, their_side, pairs)


@dataclass(frozen=True)
class _Side:
    """One of the two with its strip and the rolls that it ran, or has now."""

    setup: Setup
    measures: Measures
    rolls: Rolls
    passes: Mapping[int, int]

    @classmethod
    def of(cls, setup: Setup, measures: Measures, at: datetime) -> _Side:
        """Four queries."""
        found = rolls_at(setup, setup.good_at or at)
        passes = {station: number for number, station in found.stations.items()}
        return cls(setup, measures, found.rolls, passes)

    def conditions(self, row: AsSet) -> Conditions:
        rolls = self.rolls.of(self.passes.get(row.station_number, 0))
        strip = strip_of_number(self.setup, row, self.measures)
        mill = self.setup.mill.number
        return Conditions(mill, row.method, row.is_loaded, strip, rolls.top_nm, rolls.bottom_nm)


@dataclass(frozen=True)
class _Beside:
    """What two numbers are compared by. ``stations``: those of our mill."""

    ours: _Side
    theirs: _Side
    stations: Mapping[int, Station]

    def pair(
        self, key: tuple[int, str, str], mine: AsSet | None, other: AsSet | None
    ) -> NumberPair:
        station, name, end = key
        said = mine or other
        assert said is not None
        translated, why = self._translated(name, mine, other)
        value, their_value = _value(mine), _value(other)
        difference = value - translated if value is not None and translated is not None else None
        return NumberPair(
            station=station,
            name=name,
            end=end,
            unit=said.unit,
            is_length=said.value_nm is not None,
            ours=value,
            theirs=their_value,
            ours_method=str(mine.get_method_display()) if mine and mine.method else "",
            theirs_method=str(other.get_method_display()) if other and other.method else "",
            translated=translated,
            difference=difference,
            why=why,
        )

    def _translated(
        self, name: str, mine: AsSet | None, other: AsSet | None
    ) -> tuple[float | None, str]:
        if mine is None or other is None:
            return None, ""
        length = mine.value_nm is not None
        if length != (other.value_nm is not None) or (not length and mine.unit != other.unit):
            return None, _("in another unit")
        number = mine.station_number
        if self.ours.passes.get(number) != self.theirs.passes.get(number):
            return None, _("another pass stood there")
        station = self.stations.get(number)
        read = translate(
            other.value_nm if other.value_nm is not None else Fraction(str(other.value)),
            follows=follows(name),
            then=self.theirs.conditions(other),
            now=self.ours.conditions(mine),
            screws=Screws(
                bottom_adjustable=bool(station and station.bottom_adjustable),
                lead_nm=station.screw_lead_nm if station else None,
                zero_moved=_zero_between(station, mine, other),
            ),
            in_turns=not length,
        )
        if read.value is None:
            return None, "; ".join(str(WHY[each]) for each in read.struck)
        return float(read.value), ""


def _zero_between(station: Station | None, mine: AsSet, other: AsSet) -> bool:
    """Whether the screws were zeroed, or the station aligned, after one number and not after the
    other."""
    if station is None:
        return False
    moments = sorted((mine.happened_at, other.happened_at))
    zeroed, aligned = station.screw_zeroed_at, station.aligned_on
    first, last = (localtime(each).date() for each in moments)
    return bool(
        (zeroed and moments[0] < zeroed <= moments[1]) or (aligned and first < aligned <= last)
    )


def _value(row: AsSet | None) -> float | None:
    if row is None:
        return None
    return float(row.value_nm) if row.value_nm is not None else row.value


def _said(setup_ids: list[int]) -> dict[tuple[int, int, str], ShaftMount]:
    """For each shaft the last word that it was mounted or left out, though it came off since."""
    rows = ShaftMount.objects.filter(
        setup__in=setup_ids,
        what__in=[ShaftAct.MOUNTED, ShaftAct.SKIPPED],
        corrected_by=None,
        is_taken_back=False,
    )
    ordered = rows.order_by("happened_at", "id")
    return {(row.setup_id, row.station_number, row.shaft): row for row in ordered}


def _side(
    setup: Setup, said: Mapping[tuple[int, int, str], ShaftMount], strip_nm: int | None
) -> SideOf:
    mine = {key[1:]: row for key, row in said.items() if key[0] == setup.pk}
    last = max((row.happened_at for row in mine.values()), default=None)
    left_out = tuple(
        _("station {station}, {shaft}: {note}").format(
            station=station, shaft=SHAFT_WORDS[shaft], note=row.note
        )
        for (station, shaft), row in sorted(mine.items())
        if row.note
    )
    return SideOf(
        head=head_of(setup),
        strip_nm=strip_nm,
        left_out=left_out,
        mounting=last - setup.started_at if last else None,
        to_good=setup.good_at - setup.started_at if setup.good_at else None,
    )
