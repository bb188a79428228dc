"""The forecast of every gauge point, made anew where its cause changed, and what like pieces teach.

A forecast follows from history and from what was learned last: it is told as of the newest reading
(or the cut), and what ran since is taken off the length left, in equivalent length. So a run, which
teaches nothing about the rate, only moves these sums. Learning goes through all of history; it is
work for the worker (``learn``), not for whoever writes a reading down.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, fields, replace
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import Case, DateTimeField, F, JSONField, Q, QuerySet, Value, When

from tooling.engineering.lengths import NM_PER_M
from tooling.engineering.wear import (
    Forecasts,
    History,
    Onto,
    Prior,
    Rules,
    Says,
    columns,
    ends_of,
    flag_names,
    forecast_onto,
    judge,
    look_names,
    unmeasured_names,
)
from tooling.engineering.wear.forecasts import SAYS
from tooling.engineering.wear.pooling import fit_prior
from tooling.models import GaugePoint, Piece, WearPool, WearState
from tooling.queries.wear_lives import Life, lives
from tooling.queries.wear_present import all_present_lives, present_lives
from tooling.queries.wear_prior import EVERYTHING, Learned, factor_of, learned, rules
from tooling.services.garbage import collected_after
from tooling.services.write import writing

OWN_POOL_PIECES = 3
"""A drawing's point has a pool of its own from so many pieces that were read after they ran."""
M_PER_KM = 1_000
KEY = ("piece", "point", "end")
FIELDS = (
    "pool", "says", "readings", "cut_at", "run_nm", "equivalent_m", "last_value_nm",
    "last_read_at", "depth_nm", "left_half_m", "left_sure_m", "flags", "numbers", "computed_at",
)  # fmt: skip


Told = Mapping[str, list[Any]]
"""The columns of forecasts by name, as plain values."""


def refresh_wear(piece_ids: Iterable[int], *, at: datetime) -> None:
    """Write the forecasts of these pieces anew; call inside the write of the cause."""
    ids = set(piece_ids)
    if not ids:
        return
    known = learned()
    found = present_lives(ids, known)
    save_states(states_of(found, known, at=at))
    _drop_others(WearState.objects.filter(piece__in=ids), found)


def advance_wear(
    piece_ids: Iterable[int],
    *,
    length_nm: int,
    strip_class: str,
    happened_at: datetime,
    at: datetime,
) -> None:
    """The same after these pieces all ran so much, when nothing but their length changed: sums
    move, no forecast is made, but for pieces that were read or cut since, or have none yet. Three
    statements; call inside the write of the cause."""
    ids = set(piece_ids)
    used = GaugePoint.objects.filter(is_in_use=True).values("drawing")
    stale = (
        Q(wear_states=None)
        | Q(wear_states__last_read_at__gte=happened_at)
        | Q(wear_states__cut_at__gt=happened_at)
    )
    gauged = Piece.objects.filter(stale, pk__in=ids, drawing__in=used).order_by()
    anew = set(gauged.values_list("pk", flat=True))
    eq_m = factor_of(strip_class) * length_nm / NM_PER_M
    left = {
        name: Case(
            When(**{f"{name}__gt": eq_m}, then=F(name) - eq_m),
            When(**{f"{name}__isnull": False}, then=Value(0.0)),
        )
        for name in ("left_half_m", "left_sure_m")
    }
    WearState.objects.filter(piece__in=ids - anew).update(
        run_nm=F("run_nm") + length_nm,
        equivalent_m=F("equivalent_m") + eq_m,
        computed_at=at,
        **left,
    )
    refresh_wear(anew, at=at)


def refresh_all(*, at: datetime) -> int:
    """The same of every piece; how many forecasts."""
    count = 0
    with writing(savepoint=False), collected_after():
        known = learned()
        for some, found in all_present_lives(known):
            save_states(states_of(found, known, at=at))
            rows = WearState.objects.filter(piece__gte=some.start, piece__lt=some.stop)
            _drop_others(rows, found)
            count += len(found)
    return count


def _drop_others(rows: QuerySet[WearState], found: Iterable[Life]) -> None:
    """Of these rows those that tell of none of these lives."""
    keep = {(life.piece_id, life.point_id, life.end) for life in found}
    gone = [
        pk for pk, *key in rows.values_list("pk", "piece_id", "point_id", "end")
        if tuple(key) not in keep
    ]  # fmt: skip
    for start in range(0, len(gone), 500):
        WearState.objects.filter(pk__in=gone[start : start + 500]).delete()


def learn(*, at: datetime) -> int:
    """Learn anew from every life of every piece, and tell all forecasts anew; how many."""
    with collected_after():
        prior, counts = fitted(lives(past=True))
    with writing():
        _save_pools(prior, counts, at)
        return refresh_all(at=at)


def fitted(found: Sequence[Life]) -> tuple[Prior, dict[str, tuple[int, int]]]:
    """What these lives teach, and of each pool how many pieces and readings stand behind it."""
    read: dict[str, set[int]] = defaultdict(set)
    for life in found:
        if any(r.value_nm is not None and any(r.run_nm.values()) for r in life.history.readings):
            read[life.own_pool].add(life.piece_id)
    own = {key for key, pieces in read.items() if len(pieces) >= OWN_POOL_PIECES}
    pooled = [in_pool(life, own) for life in found]
    counts: dict[str, tuple[set[int], int]] = {}
    for life in pooled:
        pieces, readings = counts.get(life.history.spec.alike, (set(), 0))
        counts[life.history.spec.alike] = (
            pieces | {life.piece_id},
            readings + len(life.history.readings),
        )
    prior = fit_prior([life.history for life in pooled])
    return prior, {key: (len(pieces), n) for key, (pieces, n) in counts.items()}


def in_pool(life: Life, own: Collection[str]) -> Life:
    """The life in its drawing's pool where that is one, else in the wide one."""
    is_own = life.own_pool in own
    alike = life.own_pool if is_own else life.wide_pool
    if life.history.spec.alike == alike:
        return life
    sliding = 1.0 if is_own else life.wide_sliding
    spec = replace(life.history.spec, alike=alike, sliding=sliding)
    return replace(life, history=replace(life.history, spec=spec))


def _save_pools(prior: Prior, counts: dict[str, tuple[int, int]], at: datetime) -> None:
    shared = {**prior.as_dict(), "pools": {}}
    rows = {EVERYTHING: (shared, sum(each[0] for each in counts.values()),
                         sum(each[1] for each in counts.values()))}  # fmt: skip
    for key, pool in prior.pools.items():
        rows[key] = (asdict(pool), *counts.get(key, (0, 0)))
    WearPool.objects.bulk_create(
        [
            WearPool(key=key, numbers=numbers, pieces=pieces, readings=readings, fitted_at=at)
            for key, (numbers, pieces, readings) in rows.items()
        ],
        update_conflicts=True,
        unique_fields=["key"],
        update_fields=["numbers", "pieces", "readings", "fitted_at"],
    )
    WearPool.objects.exclude(key__in=list(rows)).delete()


def states_of(found: Sequence[Life], known: Learned, *, at: datetime) -> list[WearState]:
    """The rows that say the forecasts of these lives; not saved."""
    if not found:
        return []
    asked = rules()
    read = [as_read(life.history) for life in found]
    cols = columns(read)
    forecasts, kept = forecast_onto(cols, known.prior, asked)
    told = _plain_columns(forecasts)
    read_m = [known.prior.equivalent_nm(each.run_nm) / NM_PER_M for each in read]
    rows = [_state(life, n, told, known, at, read_m[n], kept[n]) for n, life in enumerate(found)]
    for life, row in zip(found, rows, strict=True):
        row.numbers["conformity"] = _conforms(life, asked, row.numbers["conformity"])
    newest = [
        (row.depth_nm if row.depth_nm is not None else float("nan"), row.numbers["depth_u"],
         told["used_km"][n] if row.readings else float("nan"))
        for n, row in enumerate(rows)
    ]  # fmt: skip
    for each in ends_of(cols.keys, cols.ends, newest, asked):
        if each.is_apart:
            for n in (each.inboard, each.outboard):
                rows[n].flags = [*rows[n].flags, "ends_apart"]
    return rows


def _state(
    life: Life, n: int, told: Told, known: Learned, at: datetime, read_m: float, onto: Onto | None
) -> WearState:
    says = SAYS[told["says"][n]]
    last: Any = life.last_nm
    nothing = says is Says.NOTHING
    equivalent_m = known.prior.equivalent_nm(life.history.run_nm) / NM_PER_M
    since = equivalent_m - read_m
    half, sure, late = (
        None if nothing else _left(told[name][n], since)
        for name in ("half_km", "sure_km", "late_km")
    )
    numbers = {
        "late_m": late,
        "depth_u": told["depth_u"][n],
        "limit": _plain(told["limit"][n]),
        "rate": told["rate"][n],
        "rate_low": told["rate_low"][n],
        "rate_high": told["rate_high"][n],
        "next": [_plain(told[name][n]) for name in ("next_low", "next_half", "next_high")],
        "through": _plain(told["through"][n]),
        "conformity": str(told["conformity"][n]),
        "gain": told["gain"][n],
        "values": told["values"][n],
        "look": list(look_names(told["look"][n])),
        "unmeasured": list(unmeasured_names(told["unmeasured"][n])),
        "alike": life.history.spec.alike,
        "earlier": len(life.history.earlier),
        "read_m": read_m,
        "onto": None if nothing or onto is None else onto.as_dict(),
    }
    return WearState(
        piece_id=life.piece_id,
        point_id=life.point_id,
        end=life.end,
        pool_id=known.pools.get(life.history.spec.alike),
        says=str(says),
        readings=told["readings"][n] + _fresh(life),
        cut_at=life.cut_at,
        run_nm=life.run_nm,
        equivalent_m=equivalent_m,
        last_value_nm=last,
        last_read_at=life.last_at,
        depth_nm=None if nothing else told["depth"][n],
        left_half_m=half,
        left_sure_m=sure,
        flags=list(flag_names(told["flags"][n])),
        numbers=numbers,
        computed_at=at,
    )


def _conforms(life: Life, asked: Rules, told: str) -> str:
    """What may be said of the newest value by the clock; the engine orders readings by strip."""
    spec = life.history.spec
    if life.last_nm is None or spec.limit_nm is None:
        return told
    lower, upper = (None, spec.limit_nm) if spec.grows else (spec.limit_nm, None)
    found = judge(life.last_nm, u=life.last_u_nm, lower=lower, upper=upper, k=asked.guard_k)
    return str(found.verdict)


def _fresh(life: Life) -> int:
    """Values taken after the cut before anything ran; the engine counts the others."""
    return sum(
        1
        for each in life.history.readings
        if each.value_nm is not None and not any(each.run_nm.values())
    )


def as_read(history: History) -> History:
    """The history as it stood at the newest reading, or at the cut where there is none."""
    newest: Mapping[str, int] = {}
    for reading in history.readings:
        if sum(reading.run_nm.values()) > sum(newest.values()):
            newest = reading.run_nm
    return replace(history, run_nm=newest)


def _plain_columns(told: Forecasts) -> Told:
    """By name, as lists: single entries of NumPy columns are slow to take."""
    return {each.name: getattr(told, each.name).tolist() for each in fields(Forecasts)}


def _left(km: float, since_m: float) -> float | None:
    return None if km != km else max(0.0, float(km) * M_PER_KM - since_m)


def _plain(value: float) -> float | None:
    return None if value != value else float(value)


def save_states(rows: Sequence[WearState]) -> None:
    """Written over what was told of the same point and end before. SQLite: one statement, prepared
    once and given row by row; PostgreSQL: all rows as one JSON value, since it is the driver that
    takes its time over many values. Both cost less than building statements of many rows."""
    if not rows:
        return
    wanted: list[Any] = [WearState._meta.get_field(name) for name in (*KEY, *FIELDS)]
    quoted = [connection.ops.quote_name(field.column) for field in wanted]
    is_row_by_row = connection.vendor == "sqlite"
    source = f"VALUES ({', '.join(['%s'] * len(quoted))})"
    if not is_row_by_row:
        typed = [
            f"{name} {field.db_type(connection)}"
            for name, field in zip(quoted, wanted, strict=True)
        ]
        source = f"SELECT * FROM json_to_recordset(%s::json) AS told({', '.join(typed)})"
    sql = (
        f"INSERT INTO tooling_wearstate ({', '.join(quoted)}) {source} "
        f"ON CONFLICT ({', '.join(quoted[: len(KEY)])}) DO UPDATE SET "
        + ", ".join(f"{column} = excluded.{column}" for column in quoted[len(KEY) :])
    )
    with connection.cursor() as cursor:
        if is_row_by_row:
            columns_of = [_prepared(field, rows) for field in wanted]
            cursor.executemany(sql, list(zip(*columns_of, strict=True)))
        else:
            cursor.execute(sql, [_as_json(wanted, rows)])


def _as_json(wanted: Sequence[Any], rows: Sequence[WearState]) -> str:
    """The rows as one list of objects by column; moments as ISO 8601 has them."""
    names = [(field.column, field.attname) for field in wanted]
    records = [{column: getattr(row, name) for column, name in names} for row in rows]
    return json.dumps(records, default=datetime.isoformat)


def _prepared(field: Any, rows: Sequence[WearState]) -> list[Any]:
    """One column as SQLite takes it; moments and flags, of which most rows share one, once each."""
    values = [getattr(row, field.attname) for row in rows]
    if isinstance(field, DateTimeField):
        once = {value: field.get_db_prep_save(value, connection) for value in set(values)}
        return [once[value] for value in values]
    if isinstance(field, JSONField):
        if field.name != "flags":
            return [json.dumps(value, cls=field.encoder) for value in values]
        known = {tuple(value): json.dumps(value, cls=field.encoder) for value in values}
        return [known[tuple(value)] for value in values]
    return values
