"""How the demo's rolls wore: gauges, gauge points, what ran coil by coil and what was read, so that
forecasts have something to stand on. The true wear is drawn with a fixed seed."""

from __future__ import annotations

import csv
import io
import random
from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta
from math import cos, exp, radians, sin

from django.db.models import Q

from tooling.engineering.lengths import NM_PER_M, NM_PER_MM, format_length
from tooling.management import demo_panel
from tooling.management.demo_setups import Changeovers
from tooling.models import (
    Drawing,
    DrawingKind,
    Gauge,
    GaugePoint,
    LengthEntry,
    Piece,
    PointKind,
    Reading,
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
PANEL_DICE = 24
STEPS = (date(2026, 3, 31), date(2026, 6, 15), date(2026, 8, 31))
"""Days on which the old footage book was added up, before its last entry."""


def footage(data: bytes, wanted: set[str], together: set[str]) -> bytes:
    """The sheet of length run with the totals of these rolls spread over the days on which the
    book was added up. What ran ``together`` ran the same length."""
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    for row in rows:
        if row["Roll"] in together:
            row["Length"] = f"{demo_panel.RUN_NM // NM_PER_M} m"
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
        demo_panel.say_points(by=by, at=at)

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
        named = GaugePoint.objects.filter(dimension__in=("root_diameter", "face_width"))
        ordered = named.select_related("drawing").order_by("drawing")
        panel = {each.drawing_id: each for each in ordered if _is_of_panel(each)}
        usual = {each.drawing_id: each for each in ordered if each.drawing_id not in panel}
        rows = self._book(usual, random.Random(11), (SPREAD_OF_DRAWINGS, SPREAD_OF_PIECES))
        slip, zinc = len(rows) // 3, 2 * len(rows) // 3
        rows[slip]["Value"] = _moved(rows[slip], 120_000)
        rows[zinc]["Value"] = _moved(rows[zinc], 90_000)
        alike = demo_panel.SPREAD_OF_DRAWINGS, demo_panel.SPREAD_OF_PIECES
        rows += self._book(panel, random.Random(PANEL_DICE), alike)
        out = io.StringIO()
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        writer.writerows({k: v for k, v in row.items() if k != "nm"} for row in rows)
        return out.getvalue().encode()

    def _book(
        self, points: dict[int, GaugePoint], dice: random.Random, spread: tuple[float, float]
    ) -> list[dict[str, str]]:
        """The readings at these points, by drawing; ``spread`` of drawings and of their pieces."""
        rows: list[dict[str, str]] = []
        drawing_rate = {pk: exp(dice.gauss(0, spread[0])) for pk in points}
        ran, cuts = _entries(points), _cuts(points)
        pieces = Piece.objects.filter(drawing__in=points).select_related("revision")
        for piece in pieces.order_by("code"):
            point = points[piece.drawing_id]
            rate = USUAL_NM_PER_KM * drawing_rate[piece.drawing_id]
            rate *= exp(dice.gauss(0, spread[1]))
            if _is_of_panel(point):
                rate *= demo_panel.faster(point.drawing.number, point.dimension)
            drawn = getattr(piece.revision, f"{point.dimension}_nm") or 0
            cut, base = cuts.get(piece.pk, (None, drawn))
            rows += _readings(piece, point, rate, base, cut, ran.get(piece.pk, []), dice, self.now)
        return rows

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


def _is_of_panel(point: GaugePoint) -> bool:
    return point.drawing.number.startswith(f"{demo_panel.PANEL}-")


def _falls(point: GaugePoint) -> float:
    """How much the value falls for each nm of depth: along the shaft or across it."""
    angle = radians(point.face_angle_deg)
    return 2 / cos(angle) if point.is_diameter else 1 / sin(angle)


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
    """Piece id → day of the last cut, and the root after it: as written, else as read after it."""
    of_roots = Q(piece__drawing__in=points)
    rows = Work.objects.filter(
        of_roots, kind=WorkKind.REGRIND, measures__dimension="root_diameter",
        measures__after_nm__isnull=False,
    )  # fmt: skip
    told = rows.order_by("done_on").values_list("piece_id", "done_on", "measures__after_nm")
    found = {piece: (day, after or 0) for piece, day, after in told}
    read = Reading.objects.filter(of_roots, dimension="root_diameter", value_nm__isnull=False)
    for piece, at, nm in read.order_by("happened_at", "pk").values_list(
        "piece_id", "happened_at", "value_nm"
    ):
        if piece not in found or found[piece][0] <= at.date():
            found[piece] = at.date(), nm or 0
    return found


def _readings(
    piece: Piece,
    point: GaugePoint,
    rate: float,
    base: int,
    cut: date | None,
    ran: list[tuple[datetime, float]],
    dice: random.Random,
    now: datetime,
) -> list[dict[str, str]]:
    made, km = [], 0.0
    for n, (at, eq) in enumerate(ran):
        is_since = cut is None or at.date() >= cut
        km += eq if is_since else 0.0
        day = at.date() + timedelta(days=1)
        following = ran[n + 1][0].date() if n + 1 < len(ran) else None
        if (following is not None and following <= day) or dice.random() < 0.25:
            continue
        if day > (now - timedelta(days=15)).date():
            continue
        depth = BED_NM * (1 - exp(-km / 20)) + rate * km
        nm = round(base - _falls(point) * depth + dice.gauss(0, NOISE_NM))
        if not is_since:
            continue
        made.append(
            {
                "Roll": piece.code,
                "Dimension": point.dimension.replace("_", " "),
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
