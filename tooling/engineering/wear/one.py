"""The forecast of one gauge point, told with every step behind it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tooling.engineering.how import Step
from tooling.engineering.wear.columns import UNMEASURED, Columns, columns
from tooling.engineering.wear.flags import Flag, Look
from tooling.engineering.wear.forecasts import SAYS, Forecasts, chunk
from tooling.engineering.wear.prior import Prior
from tooling.engineering.wear.specs import NM_PER_KM, History, ReadingAt, Rules, Says
from tooling.engineering.wear.steps import steps_behind


@dataclass(frozen=True)
class OffLine:
    """A reading with how far it is from what the rest expects, and the weight that it kept.

    ``off`` in standard deviations; ``weight`` 1 is full. A reading off the line is named, never
    silently used or dropped.
    """

    reading: ReadingAt
    off: float
    weight: float
    is_off: bool


@dataclass(frozen=True)
class Forecast:
    """One point: see ``Forecasts`` for the meaning of each figure; here lengths are whole nm.

    ``left_half_nm`` and ``left_sure_nm`` are of cold rolled strip (equivalent length); None without
    a limit. ``gives_date`` is false while the pool still leads. ``flags``, ``look`` and
    ``unmeasured`` are names; ``how`` holds the steps.
    """

    says: Says
    used_nm: int
    left_half_nm: int | None
    left_sure_nm: int | None
    left_late_nm: int | None
    chance: float | None
    through: float | None
    depth_nm: float
    depth_u_nm: float
    limit_nm: float | None
    rate_nm_per_km: float
    rate_low: float
    rate_high: float
    next_low_nm: int | None
    next_half_nm: int | None
    next_high_nm: int | None
    conformity: str
    flags: tuple[str, ...]
    look: tuple[str, ...]
    unmeasured: tuple[str, ...]
    gain: float
    readings: tuple[OffLine, ...]
    how: tuple[Step, ...]

    @property
    def gives_date(self) -> bool:
        """Whether a date may be worked out from it: only from a piece's own readings."""
        return self.says is Says.OWN and self.left_half_nm is not None


def forecast_one(history: History, prior: Prior, rules: Rules = Rules()) -> Forecast:  # noqa: B008
    """The forecast of one point, bit for bit what ``forecast`` says of it among others."""
    cols = columns([history])
    found, inside = chunk(cols, prior, rules)
    how = steps_behind(history, cols, prior, rules, found, inside)
    return told(history, cols, found, rules, how)


def told(
    history: History, cols: Columns, found: Forecasts, rules: Rules, how: tuple[Step, ...] = ()
) -> Forecast:
    """The first point of the columns as a ``Forecast``."""
    at = {name: _plain(getattr(found, name)[0]) for name in PLAIN}
    return Forecast(
        says=SAYS[int(found.says[0])],
        used_nm=round(float(found.used_km[0]) * NM_PER_KM),
        left_half_nm=_length(found.half_km[0]),
        left_sure_nm=_length(found.sure_km[0]),
        left_late_nm=_length(found.late_km[0]),
        chance=at["chance"],
        through=at["through"],
        depth_nm=float(found.depth[0]),
        depth_u_nm=float(found.depth_u[0]),
        limit_nm=at["limit"],
        rate_nm_per_km=float(found.rate[0]),
        rate_low=float(found.rate_low[0]),
        rate_high=float(found.rate_high[0]),
        next_low_nm=_whole(found.next_low[0]),
        next_half_nm=_whole(found.next_half[0]),
        next_high_nm=_whole(found.next_high[0]),
        conformity=str(found.conformity[0]),
        flags=flag_names(int(found.flags[0])),
        look=look_names(int(found.look[0])),
        unmeasured=unmeasured_names(int(found.unmeasured[0])),
        gain=float(found.gain[0]),
        readings=tuple(
            OffLine(
                history.readings[int(order)],
                float(found.off_line[n]),
                float(found.weight[n]),
                bool(abs(found.off_line[n]) > rules.off_line),
            )
            for n, order in enumerate(cols.order)
        ),
        how=how,
    )


PLAIN = ("chance", "through", "limit")


@cache
def flag_names(bits: int) -> tuple[str, ...]:
    """Names of the flags, for programs: ``off_line``, ``grown``, …"""
    return tuple(each.name.lower() for each in Flag if bits & each and each.name)


@cache
def look_names(bits: int) -> tuple[str, ...]:
    """Names of what to measure next."""
    return tuple(each.name.lower() for each in Look if bits & each and each.name)


@cache
def unmeasured_names(bits: int) -> tuple[str, ...]:
    """Names of the inputs that nobody measured."""
    return tuple(name for name, bit in UNMEASURED.items() if bits & bit)


def _plain(value: float) -> float | None:
    return None if value != value else float(value)


def _whole(value: float) -> int | None:
    return None if value != value else round(float(value))


def _length(km: float) -> int | None:
    return None if km != km else round(float(km) * NM_PER_KM)
