"""How the demo's rolls wore: gauges, gauge points, what ran coil by coil and what was read, so that
forecasts have something to stand on. The true wear is drawn with a fixed seed."""

from __future__ import annotations

import csv
import io
import random
from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta
from math import exp

from tooling.engineering.lengths import NM_PER_MM, format_length
from tooling.management.demo_setups import Changeovers
from tooling.models import (
    Drawing,
    DrawingKind,
    Gauge,
    GaugePoint,
    LengthEntry,
    Piece,
    PointKind,
    Setup,
    Work,
    WorkKind,
)
from tooling.services import drawings, gauge_points, gauges, point_readings, runs
from tooling.services.run_ways import RunIn
from tooling.services.wear_work import learn

SETS = ("1472", "1875", "2260", "3624")
ROLLS_OF_EACH = 24
DEPTH_LIMIT_NM = 228_000
USUAL_NM_PER_KM = 160.0
TRUE_FACTOR = {"galvanised": 2.2, "high strength": 4.0, "cold rolled": 1.0}
BED_NM = 3_000
NOISE_NM = 1_500
SPREAD_OF_DRAWINGS, SPREAD_OF_PIECES = 0.25, 0.15
COILS = 4
STEPS = (date(2026, 3, 31), date(2026, 6, 15), date(2026, 8, 31))
"""Days on which the old footage book was added up, before its last entry."""


def footage(data: bytes, wanted: set[str]) -> bytes:
    """The sheet of length run with the totals of these rolls spread over the days on which the
    book was added up."""
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    for row in rows:
        if row["Roll"] not in wanted:
            writer.writerow(row)
            continue
        days = [*(day.isoformat() for day in STEPS), row["Until"]]
        number, unit = row["Length"].split()
        for day in days:
            writer.writerow({**row, "Length": f"{int(number) // len(days)} {unit}", "Until": day})
    return out.getvalue().encode()


class Wear(Changeovers):
    """What the toolroom reads and what the mills run."""

    def points(self, at: datetime) -> None:
        """Three gauges, one of them overdue; a root to read on the rolls of four sets; a template
        for two lips, and both ends of a land."""
        by = self.people["engineer"]
        due = self.now.date() + timedelta(days=200)
        for number, name, unit, resolution, stated, until in (
            ("MIC-12", "Micrometer 150 to 300", "mm", 1_000, 4_000, due),
            ("MIC-07", "Micrometer 6 to 12 in", "in", 2_540, 5_080, due),
            ("CAL-03", "Caliper 300", "mm", 10_000, 30_000, self.now.date() - timedelta(days=40)),
        ):
            gauges.create_gauge(
                by=by, at=at, number=number, name=name, unit=unit, resolution_nm=resolution,
                uncertainty_nm=stated, due_on=until,
            )  # fmt: skip
        for number in SETS:
            for drawing in self._rolls(number):
                gauge_points.save_gauge_point(
                    by=by, at=at, drawing=drawing, name="root", dimension="root_diameter",
                    where="middle of the throat", depth_limit_nm=DEPTH_LIMIT_NM,
                )  # fmt: skip
                self._price(drawing, at)
        lips, land = self._rolls(SETS[0])[:2], self._rolls(SETS[0])[2]
        for drawing in lips:
            gauge_points.save_gauge_point(
                by=by, at=at, drawing=drawing, name="lip radius", kind=PointKind.TEMPLATE,
                where="radius template, both edges", depth_limit_nm=400_000,
            )  # fmt: skip
        gauge_points.save_gauge_point(
            by=by, at=at, drawing=land, name="land", where="20 mm from each face",
            has_two_ends=True, new_nm=260 * NM_PER_MM, depth_limit_nm=DEPTH_LIMIT_NM,
        )  # fmt: skip

    def _price(self, drawing: Drawing, at: datetime) -> None:
        """What a new one costs, by its size."""
        revision = drawing.revisions.get(is_current=True)
        size_mm = (revision.outside_diameter_nm or 0) // NM_PER_MM
        drawings.edit_revision(
            by=self.people["engineer"], at=at, revision=revision,
            new_cost_cents=100 * (160 + size_mm),
        )  # fmt: skip

    def _rolls(self, set_number: str) -> list[Drawing]:
        rows = Drawing.objects.filter(
            kind=DrawingKind.ROLL, number__startswith=f"{set_number}-",
            revisions__is_current=True, revisions__root_diameter_nm__isnull=False,
        )  # fmt: skip
        return list(rows.order_by("number")[:ROLLS_OF_EACH])

    def coils(self, setup: Setup, *, count: int = COILS, ahead: int = 0) -> None:
        """The job's strip, coil by coil, by the counter; now and then parts beside it. Of
        ``count`` coils the last ``ahead`` are still to come."""
        job, dice = setup.kit.job, random.Random(setup.kit.number)
        assert setup.good_at is not None
        each = job.length_nm // count
        for n in range(count - ahead):
            length = round(each * dice.uniform(0.97, 1.03))
            parts = round(length * dice.uniform(0.96, 1.0) / (3_000 * NM_PER_MM))
            said = RunIn(
                length_nm=length, parts=parts if n % 2 else None,
                part_nm=3_000 * NM_PER_MM if n % 2 else None, threading_nm=12_000 * NM_PER_MM,
            )  # fmt: skip
            at = setup.good_at + timedelta(hours=2 * n + 2)
            runs.record_run(
                by=self.people["crew"], at=at, setup=setup, said=said,
                coil=f"C{dice.randrange(10_000, 99_999)}", unit="ft" if job.unit == "in" else "m",
            )  # fmt: skip

    def book(self) -> bytes:
        """The toolroom's book of readings as a sheet: read a day after each stretch of strip, most
        pieces most times; one slip of the pen and one roll with zinc on it among them."""
        rows = []
        dice = random.Random(11)
        points = {
            point.drawing_id: point
            for point in GaugePoint.objects.filter(dimension="root_diameter").order_by("drawing")
        }
        drawing_rate = {pk: exp(dice.gauss(0, SPREAD_OF_DRAWINGS)) for pk in points}
        pieces = Piece.objects.filter(drawing__in=points).select_related("revision")
        ran = _entries(points)
        cuts = _cuts(points)
        for piece in pieces.order_by("code"):
            rate = USUAL_NM_PER_KM * drawing_rate[piece.drawing_id]
            rate *= exp(dice.gauss(0, SPREAD_OF_PIECES))
            cut, base = cuts.get(piece.pk, (None, piece.revision.root_diameter_nm or 0))
            rows += _readings(piece, rate, base, cut, ran.get(piece.pk, []), dice, self.now)
        slip, zinc = len(rows) // 3, 2 * len(rows) // 3
        rows[slip]["Value"] = _moved(rows[slip], 120_000)
        rows[zinc]["Value"] = _moved(rows[zinc], 90_000)
        out = io.StringIO()
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        writer.writerows({k: v for k, v in row.items() if k != "nm"} for row in rows)
        return out.getvalue().encode()

    def last_days(self) -> None:
        """A template that begins to pass light, a land that wears at one end; then everything is
        learned from."""
        at = self.now - timedelta(days=3)
        by, gauge = self.people["attendant"], Gauge.objects.get(number="MIC-12")
        for point in GaugePoint.objects.filter(kind=PointKind.TEMPLATE):
            for piece in _here(point):
                point_readings.record_point_reading(
                    by=by, at=at, piece=piece, point=point, verdict="light", gauge=None
                )
        land = GaugePoint.objects.get(name="land")
        for piece in _here(land)[:1]:
            for read_at, wear in (
                (datetime.combine(STEPS[-1], time(10), UTC) + timedelta(days=2), (30_000, 66_000)),
                (self.now - timedelta(days=3), (48_000, 118_000)),
            ):
                for end, lost in zip(("inboard", "outboard"), wear, strict=True):
                    point_readings.record_point_reading(
                        by=by, at=self.now - timedelta(days=3), piece=piece, point=land,
                        value_nm=260 * NM_PER_MM - 2 * lost, end=end, gauge=gauge, soaked=True,
                        sure=True, happened_at=read_at,
                    )  # fmt: skip
        learn(at=self.now - timedelta(days=1))


def _here(point: GaugePoint) -> list[Piece]:
    rows = Piece.objects.filter(drawing=point.drawing_id, place__kind="shelf")
    return list(rows.select_related("drawing", "revision", "place").order_by("code"))


def _entries(points: dict[int, GaugePoint]) -> dict[int, list[tuple[datetime, float]]]:
    """Piece id → when it ran, and how much in km of cold rolled as it truly wears."""
    found: dict[int, list[tuple[datetime, float]]] = defaultdict(list)
    rows = LengthEntry.objects.filter(piece__drawing__in=points, corrected_by=None)
    for piece, at, kind, nm in rows.order_by("happened_at", "pk").values_list(
        "piece_id", "happened_at", "strip_class", "length_nm"
    ):
        found[piece].append((at, TRUE_FACTOR.get(kind, 1.0) * nm / 1e12))
    return found


def _cuts(points: dict[int, GaugePoint]) -> dict[int, tuple[date, int]]:
    """Piece id → day of the last cut, and the root after it."""
    rows = Work.objects.filter(
        piece__drawing__in=points, kind=WorkKind.REGRIND, measures__dimension="root_diameter",
        measures__after_nm__isnull=False,
    )  # fmt: skip
    told = rows.order_by("done_on").values_list("piece_id", "done_on", "measures__after_nm")
    return {piece: (day, after or 0) for piece, day, after in told}


def _readings(
    piece: Piece,
    rate: float,
    base: int,
    cut: date | None,
    ran: list[tuple[datetime, float]],
    dice: random.Random,
    now: datetime,
) -> list[dict[str, str]]:
    since = [each for each in ran if cut is None or each[0].date() >= cut]
    made, km = [], 0.0
    for n, (at, eq) in enumerate(since):
        km += eq
        day = at.date() + timedelta(days=1)
        following = since[n + 1][0].date() if n + 1 < len(since) else None
        if (following is not None and following <= day) or dice.random() < 0.25:
            continue
        if day > (now - timedelta(days=15)).date():
            continue
        depth = BED_NM * (1 - exp(-km / 20)) + rate * km
        nm = round(base - 2 * depth + dice.gauss(0, NOISE_NM))
        made.append(
            {
                "Roll": piece.code,
                "Dimension": "root diameter",
                "Value": _written(nm, piece.unit),
                "Units": piece.unit,
                "Date": day.isoformat(),
                "Time": "10:00",
                "Gauge": "MIC-07" if piece.unit == "in" else "MIC-12",
                "Soaked": "yes",
                "nm": str(nm),
            }
        )
    return made


def _written(nm: int, unit: str) -> str:
    return format_length(nm, "in", 4) if unit == "in" else format_length(nm, "mm", 3)


def _moved(row: dict[str, str], by_nm: int) -> str:
    return _written(int(row["nm"]) + by_nm, row["Units"])
