"""Rolls whose true wear is known, written into the database as a shop would have: runs of several
strip classes, cuts, readings with the gauge's error, the heat's and the rounding.

What is true stays here; the database is given only what a shop can know. Rates are nm of depth
per km of cold rolled strip.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from tests.engineering.wear_world import FACTORS, RATE, SPREAD, crossing_km
from tooling.engineering.wear import Prior, columns, forecast
from tooling.models import (
    Drawing,
    Gauge,
    GaugePoint,
    LengthEntry,
    Piece,
    Place,
    Reading,
    Setting,
    WearState,
    Work,
    WorkMeasure,
)
from tooling.queries.strip_left import strip_left
from tooling.queries.wear_lives import Life
from tooling.queries.wear_present import present_lives
from tooling.queries.wear_prior import learned, rules
from tooling.services import wear_states

NM_PER_KM = 10**12
NEW_NM, CUT_NM = 150_000_000, 1_000_000
LIMIT_NM = 150_000
RESOLUTION_NM, STATED_NM, HEAT_NM = 1_000, 4_000, 5_175
"""Of the gauge (k = 2); what 3 K either way are on 150 mm of steel."""
COUNTS = (0, 1, 2, 5)
OF_A_PIECE = 0.5
"""Share of the variance of ln rate that a piece keeps from cut to cut."""


@dataclass(frozen=True)
class Truth:
    """What will happen to a piece: km of cold rolled strip until its depth passes the limit."""

    piece_id: int
    readings: int
    lives: int
    left_km: float


@dataclass
class _Rows:
    runs: list[LengthEntry]
    readings: list[Reading]
    works: list[Work]
    measures: list[WorkMeasure]


def worn_pieces(
    drawing: Drawing, place: Place, owner_id: int, *, count: int, at: datetime, seed: int,
    rate: float = RATE, of_a_piece: float = OF_A_PIECE, cuts: Sequence[int] = (0, 0, 1),
) -> list[Truth]:  # fmt: skip
    """So many pieces of a drawing with 0, 1, 2 and 5 readings since the last cut in turn, and what
    is true of them. ``cuts``: how many cuts each has behind it, in turn.
    """
    rng = np.random.default_rng(seed)
    GaugePoint.objects.get_or_create(
        drawing=drawing, name="root", dimension="root_diameter", depth_limit_nm=LIMIT_NM
    )
    gauge = Gauge.objects.create(
        number=f"M-{seed}-{drawing.pk}", name="micrometer", resolution_nm=RESOLUTION_NM,
        uncertainty_nm=STATED_NM,
    )  # fmt: skip
    first = Piece.objects.count()
    revision = drawing.revisions.get(is_current=True)
    pieces = Piece.objects.bulk_create(
        [
            Piece(code=f"W{first + n:06d}", drawing=drawing, revision=revision,
                  place=place, owner_id=owner_id)
            for n in range(count)
        ],
        batch_size=500,
    )  # fmt: skip
    rows = _Rows([], [], [], [])
    truths = []
    for n, piece in enumerate(pieces):
        keeps = SPREAD * of_a_piece**0.5 * rng.normal()
        behind = cuts[(n // len(COUNTS)) % len(cuts)]
        start, size, left = at - timedelta(days=900), NEW_NM, 0.0
        for life in range(behind + 1):
            own = rate * np.exp(keeps + SPREAD * (1 - of_a_piece) ** 0.5 * rng.normal())
            is_last = life == behind
            readings = COUNTS[n % len(COUNTS)] if is_last else 2
            left = _live(rows, rng, piece, gauge, start, size, float(own), readings, not life)
            start, size = start + timedelta(days=200), size - CUT_NM
            if not is_last:
                work = Work(piece=piece, kind="regrind", done_on=start.date(), received_at=start,
                            done_by="grinder", source="import")  # fmt: skip
                rows.works.append(work)
                rows.measures.append(
                    WorkMeasure(work=work, dimension="root_diameter", after_nm=size)
                )
        truths.append(Truth(piece.pk, COUNTS[n % len(COUNTS)], behind + 1, left))
    LengthEntry.objects.bulk_create(rows.runs, batch_size=1_000)
    Reading.objects.bulk_create(rows.readings, batch_size=1_000)
    Work.objects.bulk_create(rows.works, batch_size=1_000)
    WorkMeasure.objects.bulk_create(rows.measures, batch_size=1_000)
    return truths


def _live(
    rows: _Rows, rng: np.random.Generator, piece: Piece, gauge: Gauge, start: datetime, size: int,
    rate: float, readings: int, is_first: bool,
) -> float:  # fmt: skip
    """One life: read after the cut, then stretches of strip, each but the last followed by a
    reading; the true km of cold rolled strip left at its end."""
    bed, used, day = rng.normal(2_500, 1_200), 0.0, 1

    def depth(km: float) -> float:
        return float(bed * (1 - np.exp(-km / 20)) + rate * km)

    def read() -> None:
        value = size - 2 * depth(used) + 2_000 * rng.normal() + rng.uniform(-HEAT_NM, HEAT_NM)
        value += 2 * 1_000 * rng.normal()
        moment = start + timedelta(days=day, hours=12)
        rows.readings.append(
            Reading(
                uuid=uuid.UUID(bytes=rng.bytes(16)),
                piece=piece,
                dimension="root_diameter",
                value_nm=round(value / RESOLUTION_NM) * RESOLUTION_NM,
                unit="mm",
                gauge=gauge,
                soaked=True,
                happened_at=moment,
                received_at=moment,
                how="import",
            )
        )

    read()
    names, shares = list(FACTORS), rng.dirichlet(np.full(len(FACTORS), 0.6))
    marks = np.sort(rng.uniform(40, 250, readings + 1))
    for turn, (before, after) in enumerate(pairwise([0.0, *marks.tolist()])):
        kind = names[int(rng.choice(len(names), p=shares))]
        strip = int((after - before) / FACTORS[kind] * NM_PER_KM)
        day += 5
        moment = start + timedelta(days=day)
        rows.runs.append(
            LengthEntry(
                uuid=uuid.UUID(bytes=rng.bytes(16)),
                piece=piece,
                length_nm=strip,
                strip_class=kind,
                source="import",
                happened_at=moment,
                received_at=moment,
            )
        )
        used += strip * FACTORS[kind] / NM_PER_KM
        if turn < readings:
            read()
    return max(0.0, crossing_km(depth, LIMIT_NM) - used)


def covered(truths: Sequence[Truth], *, at: datetime) -> dict[int, list[tuple[bool, bool, float]]]:
    """By number of readings, of every piece: whether the truth lies in the 50 % and in the 90 %
    interval that the database keeps, and by how many km the middle is off.

    The shop's confidence is set to either end in turn and every forecast told anew.
    """
    kept: dict[float, dict[int, tuple[float, float, float]]] = {}
    for confidence in (75, 95):
        Setting.objects.update_or_create(
            name="wear_confidence", mill=None, tool_set=None, defaults={"value": confidence}
        )
        wear_states.refresh_all(at=at)
        kept[confidence] = {
            piece: (sure / 1_000, half / 1_000, numbers["late_m"] / 1_000)
            for piece, sure, half, numbers in WearState.objects.values_list(
                "piece_id", "left_sure_m", "left_half_m", "numbers"
            )
            if sure is not None and half is not None
        }
    found: dict[int, list[tuple[bool, bool, float]]] = {}
    for truth in truths:
        inner, outer = kept[75][truth.piece_id], kept[95][truth.piece_id]
        found.setdefault(truth.readings, []).append(
            (
                inner[0] <= truth.left_km <= inner[2],
                outer[0] <= truth.left_km <= outer[2],
                abs(outer[1] - truth.left_km),
            )
        )
    return found


@dataclass(frozen=True)
class HeldAhead:
    """Of one piece whose next job runs a named class alone: whether what that class truly leaves
    lies in the 50 % and in the 90 % interval that is told, and in the 90 % interval of strip like
    that which was read, divided by the learned factor and no more."""

    readings: int
    half: bool
    nine: bool
    nine_divided: bool


def covered_ahead(truths: Sequence[Truth], *, at: datetime) -> dict[str, list[HeldAhead]]:
    """As ``covered``, told for a next job in each class of strip by what the database keeps; it
    keeps no lucky end of such a job, which the engine is asked for."""
    known = learned()
    found = present_lives([truth.piece_id for truth in truths], known)
    ends = {}
    for confidence in (75, 95):
        Setting.objects.update_or_create(
            name="wear_confidence", mill=None, tool_set=None, defaults={"value": confidence}
        )
        wear_states.refresh_all(at=at)
        for kind in FACTORS:
            ends[confidence, kind] = _ends_ahead(found, kind, known.prior)
    return {
        kind: [
            _held_ahead(truth, kind, ends[75, kind][truth.piece_id], ends[95, kind][truth.piece_id])
            for truth in truths
        ]
        for kind in FACTORS
    }


def _ends_ahead(found: Sequence[Life], kind: str, prior: Prior) -> dict[int, tuple[float, ...]]:
    """By piece, km of that class: at the confidence and at its lucky end as told, and divided."""
    asked = [
        replace(wear_states.as_read(life.history), ahead_nm={kind: NM_PER_KM}) for life in found
    ]
    told = forecast(columns(asked), prior, rules()).late_km.tolist()
    late_m = {life.piece_id: 1_000 * km for life, km in zip(found, told, strict=True)}
    factor, ends = prior.factor(kind) * 1_000, {}
    for state in WearState.objects.filter(piece__in=late_m, left_sure_m__isnull=False):
        left = strip_left(state, prior)
        assert left.onto is not None
        ends[state.piece_id] = (
            (left.left_nm("sure", kind) or 0) / NM_PER_KM,
            max(0.0, late_m[state.piece_id] - left.since_m) / factor,
            (left.sure_m or 0.0) / factor,
            state.numbers["late_m"] / factor,
        )
    return ends


def _held_ahead(
    truth: Truth, kind: str, inner: tuple[float, ...], outer: tuple[float, ...]
) -> HeldAhead:
    true = truth.left_km / FACTORS[kind]
    return HeldAhead(
        truth.readings,
        inner[0] <= true <= inner[1],
        outer[0] <= true <= outer[1],
        outer[2] <= true <= outer[3],
    )
