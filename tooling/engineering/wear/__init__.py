"""How gauge points wear, and how long they last.

Histories (``PointSpec``, ``ReadingAt``, ``History``) are pooled by ``fit_prior`` into a ``Prior``
of plain numbers; ``forecast_one`` tells of one point with its steps, ``forecast`` of many at once,
bit for bit the same. ``worth`` turns what a gauge showed into a value with its uncertainty.
No clock, no chance, NumPy only: the same history gives the same numbers in every process.
"""

from __future__ import annotations

from tooling.engineering.wear.columns import UNMEASURED, Columns, columns
from tooling.engineering.wear.conformity import Conformity, Verdict, judge
from tooling.engineering.wear.flags import Ends, Flag, Look, ends_of, newest_of
from tooling.engineering.wear.forecasts import SAYS, Forecasts, forecast
from tooling.engineering.wear.lives import lives_said
from tooling.engineering.wear.measuring import GaugeRecord, Thermal, Worth, worth
from tooling.engineering.wear.one import (
    Forecast,
    OffLine,
    flag_names,
    forecast_one,
    look_names,
    unmeasured_names,
)
from tooling.engineering.wear.pooling import fit_prior
from tooling.engineering.wear.prior import DEFAULT_FACTORS, Pool, Prior, strip_class
from tooling.engineering.wear.sliding import sliding_scale
from tooling.engineering.wear.specs import (
    NM_PER_KM,
    History,
    LifeSaid,
    PointSpec,
    ReadingAt,
    Rules,
    Says,
)
from tooling.engineering.wear.widening import Onto, forecast_onto

__all__ = [
    "DEFAULT_FACTORS",
    "NM_PER_KM",
    "SAYS",
    "UNMEASURED",
    "Columns",
    "Conformity",
    "Ends",
    "Flag",
    "Forecast",
    "Forecasts",
    "GaugeRecord",
    "History",
    "LifeSaid",
    "Look",
    "OffLine",
    "Onto",
    "PointSpec",
    "Pool",
    "Prior",
    "ReadingAt",
    "Rules",
    "Says",
    "Thermal",
    "Verdict",
    "Worth",
    "columns",
    "ends_of",
    "fit_prior",
    "flag_names",
    "forecast",
    "forecast_one",
    "forecast_onto",
    "judge",
    "lives_said",
    "look_names",
    "newest_of",
    "sliding_scale",
    "strip_class",
    "unmeasured_names",
    "worth",
]
