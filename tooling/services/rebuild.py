"""What is derived from history, compared with history and made anew from it.

Place, placing row, stock counts, present sizes, length run, strokes and staged flags are written
in the transaction of their cause; here the database works them out again from all of history, in
plain SQL that both databases run, one pass each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.db import connection

from tooling.models import DIMENSIONS, Movement, Place
from tooling.queries.stock_pools import UNUSABLE
from tooling.queries.work_moment import counts_from_sql
from tooling.services.rebuild_wear import rebuild_wear, wear_differences
from tooling.services.write import writing

LIVE = "NOT EXISTS (SELECT 1 FROM {table} c WHERE c.corrects_id = {alias}.id)"
"""A row that nothing corrects."""

STANDS = (
    LIVE.format(table="tooling_movement", alias="m")
    + " AND NOT (m.corrects_id IS NOT NULL AND m.what = 'count' AND m.quantity = 0)"
)
"""A movement that has a say in where a thing is: ``models/movements.STANDS`` in SQL."""


@dataclass(frozen=True)
class Difference:
    """One derived value that is not what history says. ``None`` stands for nothing known."""

    what: str
    subject: str
    kept: Any
    should_be: Any

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True)
class _Check:
    """A derived column: the SQL that finds (key, name, kept, should be), and the one that mends."""

    what: str
    find: str
    mend: str = ""
    values: str = "numbers"
    may_be_empty: bool = True


def differences() -> list[Difference]:
    """Everything derived that differs from history; empty when all holds."""
    found = [each for check in _checks() for each in _told(check, _find(check))]
    return found + [Difference("wear", *each) for each in wear_differences()]


def rebuild() -> list[Difference]:
    """Make the derived state anew where it differs; what differed is given back."""
    found: list[Difference] = []
    with writing():
        for check in _checks():
            rows = _find(check)
            found += _told(check, rows)
            mends = [(row[3], row[0]) for row in rows if row[3] is not None or check.may_be_empty]
            if mends and check.mend:
                with connection.cursor() as cursor:
                    cursor.executemany(check.mend, mends)
            elif mends:
                _write_all_paths()
        found += [Difference("wear", *each) for each in rebuild_wear()]
    return found


def _find(check: _Check) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(check.find)
        return cursor.fetchall()


def _told(check: _Check, rows: Sequence[tuple[Any, ...]]) -> list[Difference]:
    """As a person reads it: places by their codes, movements by their uuids."""
    shown: dict[Any, Any] = {}
    ids = {value for row in rows for value in row[2:4] if value is not None}
    if check.values == "places":
        shown = dict(Place.objects.filter(pk__in=ids).values_list("pk", "code"))
    elif check.values == "movements":
        named = Movement.objects.filter(pk__in=ids).values_list("pk", "uuid")
        shown = {pk: str(key) for pk, key in named}
    return [
        Difference(check.what, row[1], shown.get(row[2], row[2]), shown.get(row[3], row[3]))
        for row in rows
    ]


def _write_all_paths() -> None:
    """Every place's path from its parents', outermost first."""
    children: dict[int | None, list[Place]] = {}
    for place in Place.objects.all():
        children.setdefault(place.parent_id, []).append(place)
    ready = [(place, "/", "") for place in children.get(None, [])]
    for place, above, above_name in ready:
        place.path = f"{above}{place.code}/"
        place.path_name = f"{above_name}{place.name}"
        inside = children.get(place.pk, [])
        ready += [(child, place.path, f"{place.path_name} / ") for child in inside]
    Place.objects.bulk_update(
        [place for place, _above, _name in ready], ["path", "path_name"], batch_size=400
    )


def _checks() -> list[_Check]:
    return [
        _place(),
        _placed_by(),
        _cart(),
        _cart_placed_by(),
        _path(),
        _count(),
        *(_size(name) for name in DIMENSIONS),
        _run("length run", "length_run_nm", "length_nm"),
        _run("strokes", "strokes_run", "strokes"),
        *_staged(),
    ]


def _differ(inner: str) -> str:
    return (
        f"SELECT id, name, kept, should_be FROM ({inner}) AS both_sides "
        "WHERE kept IS DISTINCT FROM should_be ORDER BY id"
    )


def _newest(what: str, subject: str, key: str) -> str:
    return (
        f"(SELECT m.{what} FROM tooling_movement m WHERE m.{subject} = {key} AND {STANDS} "
        "ORDER BY m.effective_at DESC, m.received_at DESC, m.id DESC LIMIT 1)"
    )


def _stands_in(subject: str, key: str) -> str:
    """Where the newest row that stands put it; where none stands, where the first row that was
    written found it or entered it."""
    return (
        f"COALESCE({_newest('to_id', subject, key)}, "
        f"(SELECT COALESCE(m.from_seen_id, m.to_id) FROM tooling_movement m "
        f"WHERE m.{subject} = {key} ORDER BY m.id LIMIT 1))"
    )


def _place() -> _Check:
    return _Check(
        "place",
        _differ(
            "SELECT p.id, p.code AS name, p.place_id AS kept, "
            f"{_stands_in('piece_id', 'p.id')} AS should_be FROM tooling_piece p"
        ),
        "UPDATE tooling_piece SET place_id = %s WHERE id = %s",
        values="places",
        may_be_empty=False,
    )


def _placed_by() -> _Check:
    return _Check(
        "placed by",
        _differ(
            "SELECT p.id, p.code AS name, p.placed_by_id AS kept, "
            f"{_newest('id', 'piece_id', 'p.id')} AS should_be FROM tooling_piece p"
        ),
        _placing("tooling_piece"),
        values="movements",
    )


def _placing(table: str) -> str:
    """The row that says where it is, with its times; no row, no times."""
    return (
        f"UPDATE {table} SET placed_by_id = said.id, placed_effective_at = said.effective_at, "
        "placed_received_at = said.received_at FROM ("
        "SELECT m.id, m.effective_at, m.received_at FROM (SELECT CAST(%s AS bigint) AS id) AS it "
        "LEFT JOIN tooling_movement m ON m.id = it.id) AS said "
        f"WHERE {table}.id = %s"
    )


def _cart() -> _Check:
    """Carts that never moved stand where they were made."""
    return _Check(
        "cart",
        _differ(
            "SELECT p.id, p.code AS name, p.parent_id AS kept, "
            f"COALESCE({_stands_in('cart_id', 'p.id')}, p.parent_id) AS should_be "
            "FROM tooling_place p WHERE p.kind IN ('cart', 'plate')"
        ),
        "UPDATE tooling_place SET parent_id = %s WHERE id = %s",
        values="places",
        may_be_empty=False,
    )


def _cart_placed_by() -> _Check:
    return _Check(
        "cart placed by",
        _differ(
            "SELECT p.id, p.code AS name, p.placed_by_id AS kept, "
            f"{_newest('id', 'cart_id', 'p.id')} AS should_be "
            "FROM tooling_place p WHERE p.kind IN ('cart', 'plate')"
        ),
        _placing("tooling_place"),
        values="movements",
    )


def _path() -> _Check:
    return _Check(
        "path",
        _differ(
            "SELECT p.id, p.code AS name, p.path || ' ' || p.path_name AS kept, "
            "COALESCE(up.path, '/') || p.code || '/ ' || "
            "COALESCE(up.path_name || ' / ', '') || p.name AS should_be "
            "FROM tooling_place p LEFT JOIN tooling_place up ON up.id = p.parent_id"
        ),
    )


def _count() -> _Check:
    live = LIVE.format(table="tooling_movement", alias="m")
    inner = (
        "SELECT l.id, l.code AS name, l.count AS kept, CAST(COALESCE(came.total, 0) AS bigint) "
        "AS should_be FROM tooling_stockline l LEFT JOIN ("
        "SELECT line, SUM(quantity) AS total FROM ("
        "SELECT m.stock_id AS line, CASE WHEN m.what IN ('receive', 'make', 'count') "
        f"THEN m.quantity ELSE -m.quantity END AS quantity FROM tooling_movement m "
        f"WHERE m.stock_id IS NOT NULL AND {live} "
        "UNION ALL SELECT m.stock_to_id, m.quantity FROM tooling_movement m "
        f"WHERE m.stock_to_id IS NOT NULL AND m.what = 'move' AND {live}"
        ") AS parts GROUP BY line) AS came ON came.line = l.id"
    )
    return _Check("count", _differ(inner), "UPDATE tooling_stockline SET count = %s WHERE id = %s")


def _size(dimension: str) -> _Check:
    """The newest uncorrected reading or size after work, by a window over both."""
    readings = LIVE.format(table="tooling_reading", alias="r")
    works = LIVE.format(table="tooling_work", alias="w")
    counts = counts_from_sql("w.done_on", "w.received_at")
    inner = (
        f"SELECT p.id, p.code AS name, p.now_{dimension}_nm AS kept, newest.value AS should_be "
        "FROM tooling_piece p LEFT JOIN (SELECT piece_id, value FROM ("
        "SELECT piece_id, value, ROW_NUMBER() OVER "
        "(PARTITION BY piece_id ORDER BY told_at DESC, id DESC) AS turn FROM ("
        "SELECT r.piece_id, r.happened_at AS told_at, r.id, r.value_nm AS value "
        "FROM tooling_reading r "
        f"WHERE r.dimension = '{dimension}' AND r.point <> 'wear' AND r.value_nm IS NOT NULL "
        f"AND {readings} UNION ALL "
        f"SELECT w.piece_id, {counts}, wm.id, wm.after_nm "
        "FROM tooling_workmeasure wm JOIN tooling_work w ON w.id = wm.work_id "
        f"WHERE wm.dimension = '{dimension}' AND wm.after_nm IS NOT NULL AND {works}"
        ") AS told) AS ranked WHERE turn = 1) AS newest ON newest.piece_id = p.id"
    )
    return _Check(
        dimension.replace("_", " "),
        _differ(inner),
        f"UPDATE tooling_piece SET now_{dimension}_nm = %s WHERE id = %s",
    )


def _run(what: str, kept: str, entry: str) -> _Check:
    """A sum over the uncorrected entries: strip length, strokes."""
    live = LIVE.format(table="tooling_lengthentry", alias="e")
    inner = (
        f"SELECT p.id, p.code AS name, p.{kept} AS kept, "
        "CAST(COALESCE(run.total, 0) AS bigint) AS should_be FROM tooling_piece p LEFT JOIN "
        f"(SELECT e.piece_id, SUM(e.{entry}) AS total FROM tooling_lengthentry e "
        f"WHERE {live} GROUP BY e.piece_id) AS run ON run.piece_id = p.id"
    )
    return _Check(what, _differ(inner), f"UPDATE tooling_piece SET {kept} = %s WHERE id = %s")


def _staged() -> list[_Check]:
    """Of the open kits whose area holds a claimed piece, one has it here (``services/staging``):
    a gathering place before a setup's plate before a mill, the inner before the outer, the earlier
    job first."""
    inside = (
        "SELECT kp.id, ROW_NUMBER() OVER (PARTITION BY kp.piece_id ORDER BY "
        "CASE WHEN spot.path LIKE g.path || '%' THEN 0 "
        "WHEN spot.path LIKE bp.path || '%' THEN 1 ELSE 2 END, "
        "CASE WHEN spot.path LIKE g.path || '%' THEN -LENGTH(g.path) "
        "WHEN spot.path LIKE bp.path || '%' THEN -LENGTH(bp.path) ELSE -LENGTH(mp.path) END, "
        "j.starts_at, k.id) AS turn "
        "FROM tooling_kitposition kp JOIN tooling_kit k ON k.id = kp.kit_id "
        "JOIN tooling_piece p ON p.id = kp.piece_id "
        "JOIN tooling_place spot ON spot.id = p.place_id "
        "JOIN tooling_job j ON j.id = k.job_id JOIN tooling_mill mill ON mill.id = j.mill_id "
        "LEFT JOIN tooling_place g ON g.id = k.place_id "
        "LEFT JOIN tooling_place mp ON mp.id = mill.place_id "
        "LEFT JOIN tooling_setup s ON s.kit_id = k.id AND s.state <> 'struck' "
        "LEFT JOIN tooling_place bp ON bp.id = s.plate_id "
        "WHERE kp.is_open AND (spot.path LIKE g.path || '%' OR spot.path LIKE mp.path || '%' "
        "OR spot.path LIKE bp.path || '%')"
    )
    return [
        _counts_staged(),
        _flag("is_staged", inside, 0, "is_staged = FALSE, holds_piece = FALSE"),
        _flag("holds_piece", inside, 0, "holds_piece = FALSE"),
        _flag("is_staged", inside, 1, "is_staged = TRUE, holds_piece = TRUE"),
        _flag("holds_piece", inside, 1, "is_staged = TRUE, holds_piece = TRUE"),
    ]


def _flag(column: str, inside: str, should_be: int, mend: str) -> _Check:
    """Flags that should be off are mended before those that should be on: one kit has a piece."""
    inner = (
        "SELECT kp.id, k.number || ' ' || p.code AS name, "
        f"CASE WHEN kp.{column} THEN 1 ELSE 0 END AS kept, "
        "CASE WHEN inside.turn = 1 THEN 1 ELSE 0 END AS should_be "
        "FROM tooling_kitposition kp JOIN tooling_kit k ON k.id = kp.kit_id "
        "JOIN tooling_piece p ON p.id = kp.piece_id "
        f"LEFT JOIN ({inside}) AS inside ON inside.id = kp.id WHERE kp.is_open"
    )
    return _Check(
        column.replace("_", " "),
        f"SELECT * FROM ({_differ(inner)}) AS found WHERE should_be = {should_be}",
        f"UPDATE tooling_kitposition SET {mend} WHERE %s IS NOT NULL AND id = %s",
    )


def _in_area(place: str) -> str:
    inside = [f"{place}.path LIKE {each}.path || '%'" for each in ("g", "bp", "mp")]
    return f"({' OR '.join(inside)})"


def _counts_staged() -> _Check:
    """As many of a kit's counted positions are here as lie fit in its gathering place, on its
    setup's plate or on the mill where that stands, without what lies in another kit's place inside
    those (``queries/stock_pools`` says which are counted)."""
    pooled = (
        "kp.piece_id IS NULL AND (kp.stock_line_id IS NOT NULL OR (own.assembled_at IS NOT NULL "
        "AND (c.id IS NULL OR c.from_paper_count IS NULL OR sp.variant_id IS NOT NULL "
        "OR kp.fill <> '')))"
    )
    positions = (
        "SELECT kp.id, kp.kit_id, kp.drawing_id, kp.is_staged, ROW_NUMBER() OVER "
        "(PARTITION BY kp.kit_id, kp.drawing_id "
        'ORDER BY kp.station_number, kp.shaft, kp."order", kp.id) AS turn '
        "FROM tooling_kitposition kp JOIN tooling_kit own ON own.id = kp.kit_id "
        "LEFT JOIN tooling_setposition sp ON sp.id = kp.set_position_id "
        f"LEFT JOIN tooling_setcopy c ON c.id = own.copy_id WHERE kp.is_open AND {pooled}"
    )
    unfit = ", ".join(f"'{condition.value}'" for condition in UNUSABLE)
    elsewhere = (
        "SELECT 1 FROM tooling_kit k2 "
        "LEFT JOIN tooling_setup s2 ON s2.kit_id = k2.id AND s2.state <> 'struck' "
        "JOIN tooling_place g2 ON g2.id = k2.place_id OR g2.id = s2.plate_id "
        "WHERE k2.state <> 'closed' AND k2.id <> k.id "
        f"AND g2.id NOT IN (COALESCE(g.id, 0), COALESCE(bp.id, 0)) AND {_in_area('g2')} "
        "AND spot.path LIKE g2.path || '%'"
    )
    inside = (
        "(SELECT COALESCE(SUM(l.count), 0) FROM tooling_stockline l "
        "JOIN tooling_place spot ON spot.id = l.place_id "
        f"WHERE l.drawing_id = kp.drawing_id AND {_in_area('spot')} "
        f"AND l.condition NOT IN ({unfit}) AND NOT EXISTS ({elsewhere}))"
    )
    inner = (
        "SELECT kp.id, k.number || ' ' || d.number AS name, "
        "CASE WHEN kp.is_staged THEN 1 ELSE 0 END AS kept, "
        f"CASE WHEN kp.turn <= {inside} THEN 1 ELSE 0 END AS should_be "
        f"FROM ({positions}) AS kp JOIN tooling_kit k ON k.id = kp.kit_id "
        "JOIN tooling_drawing d ON d.id = kp.drawing_id "
        "LEFT JOIN tooling_place g ON g.id = k.place_id "
        "LEFT JOIN tooling_setup s ON s.kit_id = k.id AND s.state <> 'struck' "
        "LEFT JOIN tooling_place bp ON bp.id = s.plate_id "
        "LEFT JOIN tooling_mill mill ON mill.id = s.mill_id "
        "AND (s.plate_id IS NULL OR s.docked_at IS NOT NULL) "
        "LEFT JOIN tooling_place mp ON mp.id = mill.place_id"
    )
    truth = "(%s = 1)" if connection.vendor == "postgresql" else "%s"
    return _Check(
        "counts staged",
        _differ(inner),
        f"UPDATE tooling_kitposition SET is_staged = {truth} WHERE id = %s",
    )
