"""What forbids that pieces stay on a shaft from one setup to the next, shaft by shaft."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from tooling.engineering.changeover import Spot
from tooling.models import Condition, Incident, Mill, MillShaft
from tooling.queries.mill_loads import JobLoad, compared
from tooling.queries.on_mill import OnMill
from tooling.queries.settings import setting_values

NAMES = ["shoulder_check_days", "strip_after_trouble", "strip_split_stacks", "swap_whole_shafts"]


@dataclass(frozen=True)
class Staying:
    """What a mill's settings, checks and last run say of staying. ``forbidden``: shaft to reason,
    whatever comes next."""

    forbidden: Mapping[Spot, str]
    split_too: bool
    whole_shafts: bool

    def must_strip(self, now: JobLoad, next_: JobLoad) -> dict[Spot, str]:
        """Shaft → why all of it comes off in this changeover."""
        found = dict(self.forbidden)
        before, after = compared(now, next_)
        for spot in set(before.shafts) | set(after.shafts):
            if self.split_too and spot in now.split | next_.split:
                found.setdefault(spot, _("split pieces come off whole"))
            differs = before.shafts.get(spot, ()) != after.shafts.get(spot, ())
            if self.whole_shafts and differs:
                found.setdefault(spot, _("shafts that change come off whole"))
        return found


def staying(mill: Mill, on: OnMill, *, at: datetime) -> Staying:
    """Four queries at most."""
    given = setting_values(NAMES, mill=mill)
    today = timezone.localdate(at)
    forbidden = _shoulders(mill, today - timedelta(days=int(given["shoulder_check_days"])))
    if given["strip_after_trouble"]:
        forbidden |= _trouble(on)
        forbidden |= _incidents(on)
    return Staying(
        forbidden=forbidden,
        split_too=bool(given["strip_split_stacks"]),
        whole_shafts=bool(given["swap_whole_shafts"]),
    )


def _shoulders(mill: Mill, before: date) -> dict[Spot, str]:
    """Shafts whose shoulder offset was measured too long ago; what was never measured is no reason
    to take a stack down now."""
    rows = MillShaft.objects.filter(station__mill=mill, shoulder_measured_on__lt=before)
    values = rows.values_list("station__number", "which", "shoulder_measured_on")
    return {
        (station, which): _("the shoulder check is due, last on {day}").format(day=day)
        for station, which, day in values
    }


def _trouble(on: OnMill) -> dict[Spot, str]:
    """Shafts that carry something held or built up."""
    found: dict[Spot, str] = {}
    for station in on.stations:
        for each in station.stood:
            if not each.shaft or not (each.is_held or each.condition == Condition.BUILD_UP):
                continue
            words = _("{piece} is {condition}")
            is_hold = each.condition == Condition.HOLD
            word = _("held") if is_hold else Condition(each.condition).label
            said = words.format(piece=each.name, condition=word)
            found.setdefault((station.number, each.shaft), said)
    return found


def _incidents(on: OnMill) -> dict[Spot, str]:
    """Shafts that an incident of the setup that stands here touched; one that names neither a
    station nor a piece touched all."""
    if on.setup is None:
        return {}
    rows = Incident.objects.filter(Q(kit__number=on.setup.kit), corrected_by=None, corrects=None)
    found: dict[Spot, str] = {}
    for incident in rows.prefetch_related("pieces"):
        said = _("incident in the last run: {kind}").format(kind=incident.get_kind_display())
        touched = {each.piece_id for each in incident.pieces.all()}
        for spot in _spots(on, incident.station_number, touched):
            found.setdefault(spot, said)
    return found


def _spots(on: OnMill, number: int | None, touched: set[int]) -> Iterable[Spot]:
    for station in on.stations:
        for shaft in {each.shaft for each in station.stood if each.shaft}:
            pieces = {each.piece_id for each in station.on(shaft)}
            names_none = number is None and not touched
            if names_none or station.number == number or touched & pieces:
                yield (station.number, shaft)
