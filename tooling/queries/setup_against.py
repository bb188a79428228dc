"""Two setups of one set, station by station: what was set, what was left out, how long it took."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.engineering.last_good import Conditions, Struck, follows, translate
from tooling.errors import Conflict
from tooling.models import AsSet, Setup, ShaftAct, ShaftMount
from tooling.queries.as_set import last_set
from tooling.queries.setup_views import SetupHead
from tooling.queries.setups import SHAFT_WORDS, find_setup, head_of

WHY = {
    Struck.MILL: gettext_lazy("other mill"),
    Struck.METHOD: gettext_lazy("found in another way"),
    Struck.LOADED: gettext_lazy("loaded in one, not in the other"),
    Struck.STRIP: gettext_lazy("the strip's thickness is not known"),
    Struck.DIAMETERS: gettext_lazy("diameters are not known"),
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


def against(number: str, other: str) -> Against:
    """Both setups. Four queries. Raises Unknown ``unknown_setup``, Conflict ``other_set`` and
    ``same_setup``."""
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
    said, numbers = _said([ours.pk, theirs.pk]), last_set([ours.pk, theirs.pk])
    keys = sorted({(station, name, end) for _s, station, name, end in numbers})
    pairs = tuple(
        _pair(key, ours, theirs, numbers.get((ours.pk, *key)), numbers.get((theirs.pk, *key)))
        for key in keys
    )
    return Against(_side(ours, said), _side(theirs, said), pairs)


def _pair(
    key: tuple[int, str, str], ours: Setup, theirs: Setup, mine: AsSet | None, other: AsSet | None
) -> NumberPair:
    station, name, end = key
    said = mine or other
    assert said is not None
    translated, why = _translated(name, ours, theirs, mine, other)
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
    name: str, ours: Setup, theirs: Setup, mine: AsSet | None, other: AsSet | None
) -> tuple[float | None, str]:
    if mine is None or other is None:
        return None, ""
    if (mine.value_nm is None) != (other.value_nm is None) or (
        mine.value_nm is None and mine.unit != other.unit
    ):
        return None, _("in another unit")
    what = follows(name) if mine.value_nm is not None else "nothing"
    if what in ("top", "bottom"):
        what = "nothing"
    read = translate(
        other.value_nm if other.value_nm is not None else round((other.value or 0.0) * 10**9),
        follows=what,
        then=_conditions(theirs, other),
        now=_conditions(ours, mine),
    )
    if read.value is None:
        return None, "; ".join(str(WHY.get(each, each.value)) for each in read.struck)
    return float(read.value) / (1 if mine.value_nm is not None else 10**9), ""


def _conditions(setup: Setup, row: AsSet) -> Conditions:
    job = setup.kit.job
    return Conditions(setup.mill.number, row.method, row.is_loaded, job.thickness_nm)


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


def _side(setup: Setup, said: Mapping[tuple[int, int, str], ShaftMount]) -> SideOf:
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
        strip_nm=setup.kit.job.thickness_nm,
        left_out=left_out,
        mounting=last - setup.started_at if last else None,
        to_good=setup.good_at - setup.started_at if setup.good_at else None,
    )
