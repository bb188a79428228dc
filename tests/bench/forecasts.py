"""Forecasts of a gauge point on every piece, through the database: read, told, written.

Baseline in the same run: the engine alone on the same histories. Before that, on the shop without
any other gauge point, how often the truth lies in the intervals that the database keeps, of 1,000
simulated pieces for each number of readings, beside the engine's own coverage; and of forty shops
of sixty pieces how often it lies in what is told of a next job in each class of strip, beside what
dividing by the learned factor alone would tell.
"""

from __future__ import annotations

import numpy as np
from django.db import connection, transaction
from django.utils import timezone

from tests.bench.build import Built
from tests.bench.clock import Figure, median_ms, seconds
from tests.engineering.wear_coverage import COUNTS, SEEDS, held, pool_of
from tests.engineering.wear_world import FACTORS, MODEL
from tests.wear_shop import NEW_NM, HeldAhead, covered, covered_ahead, worn_pieces
from tooling.engineering.wear import columns, forecast
from tooling.models import (
    Drawing,
    DrawingRevision,
    GaugePoint,
    LengthEntry,
    Owner,
    Place,
    Reading,
    WearState,
)
from tooling.queries.wear import wear_page
from tooling.queries.wear_lives import lives
from tooling.queries.wear_prior import learned
from tooling.services import wear_states

ENTRIES, READINGS = 3, 2
ALL_S, ENGINE_S, PAGE_MS = 30, 3, 150
PIECES, WITHIN = 1_000, 3.0
SHOPS, PIECES_OF_A_SHOP, AHEAD_WITHIN, AHEAD_SEED = 40, 60, 2.0, 950_000
SEED = 93_104
"""Points of percent, on three standard errors of a share of 1,000 (1 point at 90 %)."""


def forecasts_measured(built: Built) -> list[Figure]:
    """One point a piece, three stretches of strip and two readings each."""
    with transaction.atomic():
        rows = _truth()
        transaction.set_rollback(True)
    rows += _ahead()
    _histories()
    at = timezone.now()
    told = seconds(lambda: wear_states.refresh_all(at=at))
    again = seconds(lambda: wear_states.refresh_all(at=at))
    known = learned()
    found = lives(learned=known.pools)
    cols = columns([life.history for life in found])
    engine = seconds(lambda: forecast(cols, known.prior))
    page_ms = median_ms(lambda: wear_page(at=at), times=7)
    return [
        *rows,
        Figure("forecasts told", WearState.objects.count(), ""),
        Figure("length entries", LengthEntry.objects.count(), ""),
        Figure("readings", Reading.objects.count(), ""),
        Figure("all forecasts through the database, first", told, "s", ALL_S),
        Figure("the same again, over what is there", again, "s", ALL_S),
        Figure("the engine alone, as baseline", engine, "s", ENGINE_S),
        Figure("the ranked page's reads, median", page_ms, "ms", PAGE_MS),
    ]


def _truth() -> list[Figure]:
    """Two drawings, whose pieces are cut and read as a shop does."""
    at = timezone.now()
    place, owner = Place.objects.order_by("pk")[0], Owner.objects.get(is_shop=True)
    truths = []
    for n, rate in enumerate((120.0, 260.0)):
        drawing = Drawing.objects.create(number=f"TRUTH-{n}", kind="roll")
        DrawingRevision.objects.create(drawing=drawing, revision="A", root_diameter_nm=NEW_NM)
        truths += worn_pieces(
            drawing, place, owner.pk, count=len(COUNTS) * PIECES // 2, at=at, seed=SEED + n,
            rate=rate,
        )  # fmt: skip
    wear_states.learn(at=at)
    found = covered(truths, at=at)
    prior = pool_of(MODEL, SEEDS[0])
    rows = []
    for readings in COUNTS:
        half, nine = (100 * float(np.mean([each[n] for each in found[readings]])) for n in (0, 1))
        engine = held(MODEL, SEEDS[0], readings, PIECES, prior)
        what = f"{readings} readings"
        rows += [
            Figure(f"{what}: in the 50 % interval, through the database", half, "%"),
            Figure(f"{what}: the same by the engine alone", 100 * engine.half, "%"),
            Figure(f"{what}: in the 90 % interval, through the database", nine, "%"),
            Figure(f"{what}: the same by the engine alone", 100 * engine.nine, "%"),
            Figure(f"{what}: off 90 %, through the database", abs(nine - 90), "pt", WITHIN),
        ]
    return rows


def _ahead() -> list[Figure]:
    """Each shop is rolled back, so that none learns from another."""
    at = timezone.now()
    place, owner = Place.objects.order_by("pk")[0], Owner.objects.get(is_shop=True)
    found: dict[str, list[HeldAhead]] = {kind: [] for kind in FACTORS}
    for n in range(SHOPS):
        with transaction.atomic():
            drawing = Drawing.objects.create(number=f"AHEAD-{n}", kind="roll")
            DrawingRevision.objects.create(drawing=drawing, revision="A", root_diameter_nm=NEW_NM)
            told = worn_pieces(
                drawing, place, owner.pk, count=PIECES_OF_A_SHOP, at=at, seed=AHEAD_SEED + n
            )
            wear_states.learn(at=at)
            for kind, mine in covered_ahead(told, at=at).items():
                found[kind] += mine
            transaction.set_rollback(True)
    rows = []
    for kind, each in {**found, "any": [one for rows in found.values() for one in rows]}.items():
        shares = [(one.half, one.nine, one.nine_divided) for one in each]
        half, nine, divided = (100 * np.mean(shares, axis=0)).tolist()
        what = f"next job in {kind} strip"
        rows += [
            Figure(f"{what}: in the 50 % interval, through the database", half, "%"),
            Figure(f"{what}: in the 90 % interval, through the database", nine, "%"),
            Figure(f"{what}: the same divided by its factor alone", divided, "%"),
        ]
    rows.append(
        Figure("next job: off 90 %, mean of the classes", abs(nine - 90), "pt", AHEAD_WITHIN)
    )
    return rows


def _histories() -> None:
    GaugePoint.objects.bulk_create(
        [
            GaugePoint(
                drawing=drawing, name="root", dimension="root_diameter", depth_limit_nm=300_000
            )
            for drawing in Drawing.objects.filter(gauge_points=None)
        ],
        batch_size=2_000,
    )
    sqlite = connection.vendor == "sqlite"
    key = "lower(hex(randomblob(16)))" if sqlite else "gen_random_uuid()"
    day = "datetime('2025-06-01', '+' || {n} || ' days')"
    if not sqlite:
        day = "timestamptz '2025-06-01 00:00+00' + {n} * interval '1 day'"
    false = "0" if sqlite else "false"
    true = "1" if sqlite else "true"
    numbers = "WITH RECURSIVE k(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM k WHERE k < {most}) "
    at = day.format(n="(k.k * 30)")
    later = day.format(n="(k.k * 30 + 1)")
    entries = (
        f"{numbers.format(most=ENTRIES)} INSERT INTO tooling_lengthentry (uuid, piece_id, "
        "length_nm, strokes, strip_class, source, run_reference, happened_at, received_at, note) "
        f"SELECT {key}, p.id, 40000000000000 + (p.id % 7) * 1000000000000, 0, 'galvanised', "
        f"'import', '', {at}, {at}, '' FROM k CROSS JOIN tooling_piece p"
    )
    readings = (
        f"{numbers.format(most=READINGS)} INSERT INTO tooling_reading (uuid, piece_id, dimension, "
        'point, "end", value_nm, verdict, unit, as_written, over_chrome, soaked, happened_at, '
        f"received_at, how, note) SELECT {key}, p.id, 'root_diameter', '', '', r.root_diameter_nm "
        f"- k.k * (30000 + (p.id % 11) * 3000), '', 'mm', '', {false}, {true}, {later}, {later}, "
        "'import', '' FROM k CROSS JOIN tooling_piece p "
        "JOIN tooling_drawingrevision r ON r.id = p.revision_id"
    )
    with connection.cursor() as cursor:
        cursor.execute(entries)
        cursor.execute(readings)
        cursor.execute("ANALYZE")
