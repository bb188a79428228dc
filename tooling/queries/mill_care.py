"""When a mill was aligned, its end play and shoulders measured, and what of that is due again."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from tooling.models import Mill, MillShaft, Station
from tooling.queries.settings import setting_values


@dataclass(frozen=True)
class Checked:
    """A check: when it was last done, None for never, and whether it is due. What was never done
    is due, but not overdue."""

    on: date | None
    is_overdue: bool

    @property
    def is_due(self) -> bool:
        return self.is_overdue or self.on is None


@dataclass(frozen=True)
class ShaftCare:
    id: int
    which: str
    which_word: str
    bank: int
    end_play_nm: int | None
    end_play: Checked
    shoulder: Checked


@dataclass(frozen=True)
class StationCare:
    number: int
    aligned: Checked
    zeroed_at: datetime | None
    shafts: tuple[ShaftCare, ...]


@dataclass(frozen=True)
class MillCare:
    """A mill's checks. ``…_days``: after so many each is due again."""

    number: str
    name: str
    unit: str
    alignment_days: int
    end_play_days: int
    shoulder_days: int
    stations: tuple[StationCare, ...]

    @property
    def alignment_overdue(self) -> tuple[int, ...]:
        """Numbers of the stations."""
        return tuple(each.number for each in self.stations if each.aligned.is_overdue)

    @property
    def end_play_overdue(self) -> tuple[int, ...]:
        return tuple(
            each.number for each in self.stations if any(s.end_play.is_overdue for s in each.shafts)
        )

    @property
    def shoulder_overdue(self) -> tuple[int, ...]:
        return tuple(
            each.number for each in self.stations if any(s.shoulder.is_overdue for s in each.shafts)
        )

    @property
    def never(self) -> bool:
        """Nothing was ever written down."""
        return not any(
            check.on
            for each in self.stations
            for check in (each.aligned, *(c for s in each.shafts for c in (s.end_play, s.shoulder)))
        )


def mill_care(mill: Mill, *, today: date) -> MillCare:
    """Three queries."""
    names = ["alignment_days", "end_play_days", "shoulder_check_days"]
    given = {name: int(value) for name, value in setting_values(names, mill=mill).items()}
    before = {name: today - timedelta(days=days) for name, days in given.items()}
    shafts: dict[int, list[ShaftCare]] = defaultdict(list)
    for shaft in MillShaft.objects.filter(station__mill=mill).order_by("bank", "-which"):
        shafts[shaft.station_id].append(
            ShaftCare(
                id=shaft.pk,
                which=shaft.which,
                which_word=str(shaft.get_which_display()),
                bank=shaft.bank,
                end_play_nm=shaft.end_play_nm,
                end_play=_checked(shaft.end_play_measured_on, before["end_play_days"]),
                shoulder=_checked(shaft.shoulder_measured_on, before["shoulder_check_days"]),
            )
        )
    stations = Station.objects.filter(mill=mill).order_by("number")
    return MillCare(
        number=mill.number,
        name=mill.name,
        unit=mill.unit,
        alignment_days=given["alignment_days"],
        end_play_days=given["end_play_days"],
        shoulder_days=given["shoulder_check_days"],
        stations=tuple(
            StationCare(
                number=station.number,
                zeroed_at=station.screw_zeroed_at,
                aligned=_checked(station.aligned_on, before["alignment_days"]),
                shafts=tuple(shafts[station.pk]),
            )
            for station in stations
        ),
    )


def _checked(on: date | None, before: date) -> Checked:
    return Checked(on, on is not None and on < before)
