"""What has been, from sheets: readings, past regrinds, length run."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, time, timedelta
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import DIMENSIONS, Gauge, LengthEntry, Reading, Work, WorkMeasure
from tooling.services.importing.known import Known, plain
from tooling.services.importing.known_records import read_pieces
from tooling.services.importing.plan import Plan
from tooling.services.importing.stage import chunks, is_new
from tooling.services.importing.tools import gauges_of
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

CLOCKS_DIFFER = timedelta(minutes=5)


def not_in_future(at: datetime, now: datetime) -> None:
    """Raises ToolingError ``in_the_future`` for a moment of a later day."""
    if at.date() > now.astimezone(at.tzinfo).date():
        raise ToolingError(
            "in_the_future", _("{date} is still to come."), date=at.date().isoformat()
        )


def _moment(row: Row, plan: Plan, known: Known) -> datetime:
    """When it was: the day's noon where no time is written, never after now."""
    hour = row.values.get("time")
    at = known.moment(row.values["date"], hour or time(12), in_field="time")
    plan.look("date", lambda moment: not_in_future(moment, plan.at), at)
    if hour and at > plan.at + CLOCKS_DIFFER:
        raise ToolingError(
            "in_the_future",
            _("{date} is still to come."),
            date=at.strftime("%Y-%m-%d %H:%M"),
            in_field="time",
        )
    return min(at, plan.at)


def _history(rows: list[Row], model: type[Any], known: Known) -> list[Any]:
    """Reads the pieces that the rows name; what history, saved or planned, has of them."""
    read_pieces(known, {str(row.values["piece"]) for row in rows})
    found = known.stage.find(model, "piece_id", known.piece_keys)
    for part in chunks(key for key in known.piece_keys if key > 0):
        found += model._default_manager.filter(piece__in=part, corrected_by=None)
    return found


def plan_readings(rows: list[Row], plan: Plan, known: Known) -> None:
    there = {_same_reading(each) for each in _history(rows, Reading, known)}
    for row in rows:
        with plan.of_row(row, KINDS["readings"], "piece"):
            _plan_reading(row, plan, known, there)


def _same_reading(reading: Reading) -> tuple[Any, ...]:
    """What makes two readings one, to the second: sheets hold no finer time."""
    return (
        reading.piece_id,
        reading.dimension,
        reading.point,
        reading.end,
        reading.happened_at.replace(microsecond=0),
        reading.value_nm,
        reading.verdict,
    )


def _plan_reading(row: Row, plan: Plan, known: Known, there: set[Any]) -> None:
    values = row.values
    piece = known.piece(values["piece"])
    dimension, value = values["dimension"], values.get("value")
    size: Any = value
    temperature = values.get("temperature")
    reading = Reading(
        piece=piece, dimension=dimension, point=values.get("point") or "",
        end=values.get("end") or "", value_nm=size, verdict=values.get("verdict") or "",
        unit=row.unit(KINDS["readings"]) or piece.unit,
        over_chrome=bool(values.get("over_chrome")), soaked=values.get("soaked"),
        temperature_c=None if temperature is None else float(temperature),
        happened_at=_moment(row, plan, known), received_at=plan.at, how="import",
        note=_note(values),
    )  # fmt: skip
    if _same_reading(reading) in there:
        return
    there.add(_same_reading(reading))
    reading.gauge = _gauge(values.get("gauge"), row, plan, gauges_of(known))
    plan.add(reading, f"{values['piece']} {dimension.replace('_', ' ')}")
    if value is not None and dimension in DIMENSIONS:
        plan.resize(piece)


def _gauge(number: str | None, row: Row, plan: Plan, gauges: dict[str, Gauge]) -> Gauge | None:
    if not number:
        return None
    if plain(number) not in gauges:
        gauges[plain(number)] = plan.create(
            Gauge, number, quiet=True, number=number, name=number,
            unit=row.unit(KINDS["readings"]) or "mm",
        )  # fmt: skip
    return gauges[plain(number)]


def _note(values: dict[str, Any]) -> str:
    who, note = values.get("who"), values.get("note")
    return "; ".join(part for part in (f"by {who}" if who else "", note or "") if part)[:300]


def plan_regrinds(rows: list[Row], plan: Plan, known: Known) -> None:
    there = {(each.piece_id, each.done_on, each.kind) for each in _history(rows, Work, known)}
    for row in rows:
        with plan.of_row(row, KINDS["regrinds"], "piece"):
            _plan_regrind(row, plan, known, there)


def _plan_regrind(row: Row, plan: Plan, known: Known, there: set[Any]) -> None:
    values = row.values
    piece = known.piece(values["piece"])
    kind = values.get("kind") or "regrind"
    key = (piece.pk, values["date"], kind)
    if key in there:
        return
    there.add(key)
    _moment(row, plan, known)
    title = f"{values['piece']} {kind} {values['date']}"
    cost = values.get("cost")
    work = plan.create(
        Work, title, piece=piece, kind=kind, done_on=values["date"],
        done_by=values.get("who") or "", order_reference=values.get("order_reference") or "",
        mark_restored=values.get("mark_restored"),
        cost_cents=None if cost is None else round(cost * 100),
        received_at=plan.at, source="import", note=(values.get("note") or "")[:300],
    )  # fmt: skip
    for each in DIMENSIONS:
        before, after = values.get(f"before_{each}"), values.get(f"after_{each}")
        _check_cut(kind, each, before, after)
        if before is not None or after is not None:
            plan.create(
                WorkMeasure, title, quiet=True, work=work, dimension=each, before_nm=before,
                after_nm=after,
            )  # fmt: skip
            plan.resize(piece)


def _check_cut(kind: str, dimension: str, before: int | None, after: int | None) -> None:
    cuts = kind in ("regrind", "recontour", "face") and (
        dimension.endswith("diameter") or dimension == "face_width"
    )
    if cuts and before is not None and after is not None and after > before:
        raise ToolingError(
            "cut_made_larger",
            _("{dimension}: cutting takes away, yet after is larger than before. Exchange the "
              "two, or write what was really measured."),
            dimension=dimension.replace("_", " "),
            in_field=f"after_{dimension}",
        )  # fmt: skip


def plan_length_run(rows: list[Row], plan: Plan, known: Known) -> None:
    there: dict[Any, list[LengthEntry]] = defaultdict(list)
    for each in _history(rows, LengthEntry, known):
        day = each.happened_at.astimezone(known.zone).date()
        there[each.piece_id, day, each.strip_class, each.run_reference].append(each)
    for row in rows:
        with plan.of_row(row, KINDS["length_run"], "piece"):
            _plan_length(row, plan, known, there)


def _plan_length(row: Row, plan: Plan, known: Known, there: dict[Any, list[LengthEntry]]) -> None:
    values = row.values
    piece = known.piece(values["piece"])
    strip, run = values.get("strip_class") or "", values.get("run_reference") or ""
    key = (piece.pk, values["date"], strip, run)
    present = there.get(key, [])
    title = f"{values['piece']} {values['date']}"
    total = sum(each.length_nm for each in present)
    if present and total == values["length"]:
        return
    if len(present) > 1 or any(map(is_new, present)):
        raise Conflict(
            "several_entries",
            _("{piece} has {count} entries of that day and strip already, which do not add up "
              "to this. Correct them on the piece's page."),
            piece=values["piece"],
            count=len(present),
            in_field="length",
        )  # fmt: skip
    corrected = present[0] if present else None
    at = _moment(row, plan, known)
    if corrected is not None:
        plan.changed(title, "length", total, values["length"])
        at = corrected.happened_at
    made = plan.create(
        LengthEntry, title, quiet=corrected is not None, piece=piece, length_nm=values["length"],
        strokes=values.get("strokes") or 0, strip_class=strip, run_reference=run,
        source="import", happened_at=at, received_at=plan.at, corrects=corrected,
        note=(values.get("note") or "")[:200],
    )  # fmt: skip
    there[key].append(made)
    plan.runs(piece)
