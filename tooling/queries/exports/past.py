"""Readings, regrinds, length run and jobs as rows of their sheets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from tooling.models import Job, JobState, LengthEntry, Reading, Work, WorkMeasure
from tooling.queries.exports.records import row
from tooling.queries.shop_zone import shop_zone
from tooling.spreadsheets.rows import Row


def regrinds() -> Iterator[Row]:
    measures: dict[int, dict[str, int | None]] = defaultdict(dict)
    for measure in WorkMeasure.objects.all():
        measures[measure.work_id][f"before_{measure.dimension}"] = measure.before_nm
        measures[measure.work_id][f"after_{measure.dimension}"] = measure.after_nm
    found = Work.objects.filter(corrected_by=None).select_related("piece")
    for work in found.order_by("piece__code", "done_on", "kind", "pk"):
        yield row(
            {
                "piece": work.piece.code,
                "date": work.done_on,
                "kind": work.kind,
                "who": work.done_by,
                "order_reference": work.order_reference,
                "unit": work.piece.unit,
                **measures.get(work.pk, {}),
                "mark_restored": work.mark_restored,
                "cost": None if work.cost_cents is None else work.cost_cents / 100,
                "note": work.note,
            },
            work.piece.unit,
        )


def readings() -> Iterator[Row]:
    zone = shop_zone()
    found = Reading.objects.filter(corrected_by=None).select_related("piece", "gauge")
    for reading in found.order_by("piece__code", "happened_at", "dimension", "pk"):
        at = reading.happened_at.astimezone(zone)
        yield row(
            {
                "piece": reading.piece.code,
                "dimension": reading.dimension,
                "point": reading.point,
                "end": reading.end,
                "value": reading.value_nm,
                "verdict": reading.verdict,
                "unit": reading.unit,
                "date": at.date(),
                "time": at.time().replace(microsecond=0),
                "gauge": reading.gauge.number if reading.gauge else None,
                "over_chrome": reading.over_chrome,
                "soaked": reading.soaked,
                "temperature": reading.temperature_c,
                "note": reading.note,
            },
            reading.unit,
        )


def length_run() -> Iterator[Row]:
    """One row for each piece, day, strip class and run: what the sheet tells apart."""
    zone = shop_zone()
    found = LengthEntry.objects.filter(corrected_by=None).select_related("piece")
    alike: dict[tuple[Any, ...], list[LengthEntry]] = defaultdict(list)
    for entry in found.order_by("piece__code", "happened_at", "pk"):
        day = entry.happened_at.astimezone(zone).date()
        alike[entry.piece_id, day, entry.strip_class, entry.run_reference].append(entry)
    for (_piece, day, strip_class, run_reference), entries in alike.items():
        piece = entries[0].piece
        yield row(
            {
                "piece": piece.code,
                "length": sum(entry.length_nm for entry in entries),
                "strokes": sum(entry.strokes for entry in entries) or None,
                "strip_class": strip_class,
                "date": day,
                "run_reference": run_reference,
                "note": next((entry.note for entry in entries if entry.note), ""),
            },
            "ft" if piece.unit == "in" else "m",
        )


def jobs() -> Iterator[Row]:
    """The jobs to come."""
    zone = shop_zone()
    planned = Job.objects.filter(state=JobState.PLANNED)
    found = planned.select_related("tool_set", "variant", "mill", "customer")
    for job in found.order_by("number"):
        starts, gathers = job.starts_at.astimezone(zone), job.gathers_at.astimezone(zone)
        due = job.due_at.astimezone(zone) if job.due_at else None
        strip = {"length": "ft" if job.unit == "in" else "m"}
        made = row(
            {
                "number": job.number,
                "set": job.tool_set.number,
                "variant": job.variant.name if job.variant else None,
                "mill": job.mill.number,
                "customer": job.customer.code if job.customer else None,
                "grade": job.grade,
                "unit": job.unit,
                "thickness": job.thickness_nm,
                "width": job.width_nm,
                "coating": job.coating,
                "strip_class": job.strip_class,
                "length": job.length_nm,
                "date": starts.date(),
                "time": starts.time(),
                "hours": job.hours,
                "gather_date": gathers.date(),
                "gather_time": gathers.time(),
                "due_date": due.date() if due else None,
                "due_time": due.time() if due else None,
            },
            job.unit,
        )
        yield Row(made.values, {**made.units, **strip})
