"""What has been, from sheets: readings, past regrinds, length run; and the jobs to come."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import (
    Gauge,
    Job,
    LengthEntry,
    Piece,
    Reading,
    SetVariant,
    Shop,
    Work,
    WorkMeasure,
)
from tooling.services.importing.known import Known, chunks, plain
from tooling.services.importing.pieces import names_in
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

CUT = ("drive_diameter", "root_diameter", "outside_diameter", "face_width")


def shop_zone() -> ZoneInfo:
    """The shop's own zone; UTC until it says."""
    shop = Shop.objects.first()
    return ZoneInfo(shop.time_zone if shop else "UTC")


def _moment(day: Any, hour: Any, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, hour or time(12), tzinfo=zone)


def _pieces(rows: list[Row], known: Known) -> None:
    known.read_pieces(names_in(rows, "piece"))


def plan_readings(rows: list[Row], plan: Plan, known: Known) -> None:
    _pieces(rows, known)
    zone = shop_zone()
    gauges = {plain(gauge.number): gauge for gauge in Gauge.objects.all()}
    ids = [str(key) for key in {piece.pk for piece in known.pieces.values()} if key]
    there = {
        (each.piece_id, each.dimension, each.point, each.end, each.happened_at, each.value_nm)
        for part in chunks(ids)
        for each in Reading.objects.filter(piece__in=part, corrected_by=None)
    }
    for row in rows:
        plan.begin(row, "readings")
        try:
            _plan_reading(row, plan, known, zone, gauges, there)
        except ToolingError as error:
            plan.problem("piece", row.values.get("piece"), error)


def _plan_reading(
    row: Row, plan: Plan, known: Known, zone: ZoneInfo, gauges: dict[str, Gauge], there: set[Any]
) -> None:
    values = row.values
    piece = known.piece(values["piece"])
    at = _moment(values["date"], values.get("time"), zone)
    _not_in_future(at, plan.at)
    point, end = values.get("point") or "", values.get("end") or ""
    dimension, value = values["dimension"], values.get("value")
    if (piece.pk, dimension, point, end, at, value) in there:
        return
    gauge = _gauge(values.get("gauge"), row, plan, gauges)
    plan.create(
        Reading, f"{values['piece']} {dimension}", piece=piece, dimension=dimension, point=point,
        end=end, value_nm=value, verdict=values.get("verdict") or "",
        unit=row.unit(KINDS["readings"]) or piece.unit, gauge=gauge,
        over_chrome=bool(values.get("over_chrome")), soaked=values.get("soaked"),
        temperature_c=_number(values.get("temperature")), happened_at=at, received_at=plan.at,
        how="import", note=_note(values),
    )  # fmt: skip
    _resized(piece, dimension, value, plan)


def _resized(piece: Piece, dimension: str, value: int | None, plan: Plan) -> None:
    """The present size follows the newest reading; ``apply`` works it out for pieces touched."""
    if value is not None and dimension != "wear":
        plan.resized[id(piece)] = piece


def _gauge(number: str | None, row: Row, plan: Plan, gauges: dict[str, Gauge]) -> Gauge | None:
    if not number:
        return None
    if plain(number) not in gauges:
        gauges[plain(number)] = plan.create(
            Gauge, number, quiet=True, number=number, name=number,
            unit=row.unit(KINDS["readings"]) or "mm",
        )  # fmt: skip
    return gauges[plain(number)]


def _not_in_future(at: datetime, now: datetime) -> None:
    if at > now + timedelta(days=1):
        raise ToolingError(
            "date_in_future", _("{date} is still to come."), date=at.date().isoformat()
        )


def _note(values: dict[str, Any]) -> str:
    who, note = values.get("who"), values.get("note")
    return "; ".join(part for part in (f"by {who}" if who else "", note or "") if part)


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def plan_regrinds(rows: list[Row], plan: Plan, known: Known) -> None:
    _pieces(rows, known)
    ids = [str(key) for key in {piece.pk for piece in known.pieces.values()} if key]
    there = {
        (each.piece_id, each.done_on, each.kind): each
        for part in chunks(ids)
        for each in Work.objects.filter(piece__in=part, corrected_by=None)
    }
    for row in rows:
        plan.begin(row, "regrinds")
        try:
            _plan_regrind(row, plan, known, there)
        except ToolingError as error:
            plan.problem("piece", row.values.get("piece"), error)


def _plan_regrind(row: Row, plan: Plan, known: Known, there: dict[Any, Work]) -> None:
    values = row.values
    piece = known.piece(values["piece"])
    kind = values.get("kind") or "regrind"
    if (piece.pk, values["date"], kind) in there:
        return
    if values["date"] > plan.at.date():
        raise ToolingError("date_in_future", _("{date} is still to come."), date=values["date"])
    title = f"{values['piece']} {kind} {values['date']}"
    work = plan.create(
        Work, title, piece=piece, kind=kind, done_on=values["date"],
        done_by=values.get("who") or "", order_reference=values.get("order_reference") or "",
        mark_restored=values.get("mark_restored"),
        cost_cents=None if values.get("cost") is None else round(values["cost"] * 100),
        received_at=plan.at, source="import", note=values.get("note") or "",
    )  # fmt: skip
    for each in CUT:
        before, after = values.get(f"before_{each}"), values.get(f"after_{each}")
        _check_cut(values, each, before, after)
        if before is not None or after is not None:
            plan.create(
                WorkMeasure, title, quiet=True, work=work, dimension=each, before_nm=before,
                after_nm=after,
            )  # fmt: skip
            plan.resized[id(piece)] = piece


def _check_cut(values: dict[str, Any], dimension: str, before: Any, after: Any) -> None:
    grows = before is not None and after is not None and after > before
    if grows and (values.get("kind") or "regrind") in ("regrind", "recontour", "face"):
        raise ToolingError(
            "grown_by_cutting",
            _("{dimension}: after cutting it cannot be more than before."),
            dimension=dimension.replace("_", " "),
        )


def plan_length_run(rows: list[Row], plan: Plan, known: Known) -> None:
    _pieces(rows, known)
    zone = shop_zone()
    ids = [str(key) for key in {piece.pk for piece in known.pieces.values()} if key]
    there = {
        (each.piece_id, each.happened_at, each.strip_class, each.run_reference): each
        for part in chunks(ids)
        for each in LengthEntry.objects.filter(piece__in=part, corrected_by=None)
    }
    for row in rows:
        plan.begin(row, "length_run")
        try:
            _plan_length(row.values, plan, known, zone, there)
        except ToolingError as error:
            plan.problem("piece", row.values.get("piece"), error)


def _plan_length(
    values: dict[str, Any], plan: Plan, known: Known, zone: ZoneInfo, there: dict[Any, Any]
) -> None:
    piece = known.piece(values["piece"])
    at = _moment(values["date"], None, zone)
    _not_in_future(at, plan.at)
    strip, run = values.get("strip_class") or "", values.get("run_reference") or ""
    present = there.get((piece.pk, at, strip, run))
    if present is not None and present.length_nm == values["length"]:
        return
    title = f"{values['piece']} {values['date']}"
    if present is not None:
        plan.changed(title, "length", present.length_nm, values["length"])
    plan.create(
        LengthEntry, title, quiet=present is not None, piece=piece, length_nm=values["length"],
        strokes=values.get("strokes") or 0, strip_class=strip, run_reference=run,
        source="import", happened_at=at, received_at=plan.at, corrects=present,
        note=values.get("note") or "",
    )  # fmt: skip


def plan_jobs(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    zone = shop_zone()
    jobs = {plain(job.number): job for job in Job.objects.all()}
    variants = {
        (plain(each.tool_set.number), plain(each.name)): each
        for each in [*SetVariant.objects.select_related("tool_set"), *plan.records(SetVariant)]
    }
    for row in rows:
        plan.begin(row, "jobs")
        try:
            _plan_job(row, plan, known, zone, jobs, variants)
        except ToolingError as error:
            column = error.code.rpartition("_")[2]
            column = column if column in KINDS["jobs"].by_name else "set"
            plan.problem(column, row.values.get(column), error)


def _plan_job(
    row: Row, plan: Plan, known: Known, zone: ZoneInfo, jobs: dict[str, Job],
    variants: dict[tuple[str, str], SetVariant],
) -> None:  # fmt: skip
    values = row.values
    tool_set, mill = known.tool_set(values["set"]), known.mill(values["mill"])
    starts = _moment(values["date"], values.get("time") or time(6), zone)
    gathers = starts - timedelta(hours=8)
    if values.get("gather_date"):
        gathers = _moment(values["gather_date"], values.get("gather_time") or time(6), zone)
    variant = None
    if values.get("variant"):
        variant = variants.get((plain(tool_set.number), plain(values["variant"])))
        if variant is None:
            raise ToolingError(
                "unknown_variant", _("Set {set} has no variant “{name}”."), set=tool_set.number,
                name=values["variant"],
            )  # fmt: skip
    wanted: dict[str, Any] = {
        "tool_set": tool_set, "mill": mill, "variant": variant,
        "customer": known.owner(values["customer"]) if values.get("customer") else None,
        "grade": values.get("grade"), "unit": row.unit(KINDS["jobs"]),
        "thickness_nm": values.get("thickness"), "width_nm": values.get("width"),
        "coating": values.get("coating"), "strip_class": values.get("strip_class"),
        "length_nm": values.get("length"), "starts_at": starts,
        "hours": _number(values.get("hours")), "gathers_at": gathers,
    }  # fmt: skip
    job = jobs.get(plain(values["number"]))
    if job is None:
        jobs[plain(values["number"])] = plan.create(
            Job, values["number"], number=values["number"], **said(wanted)
        )
    else:
        plan.edit(job, job.number, **wanted)
