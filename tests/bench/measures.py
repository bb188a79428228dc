"""The measurements by name; each gives rows of (what, figure, unit, limit)."""

from __future__ import annotations

import random
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db import connection, transaction
from django.test import Client
from django.utils import timezone

from tests.bench import (
    backup,
    forecasts,
    imports,
    labels,
    notice,
    put_away,
    register,
    regrind,
    runs,
    scan_page,
    setups,
    sheet,
    stacks,
    wear,
)
from tests.bench.build import Built
from tests.bench.clock import Figure, counting, median_ms, seconds
from tests.bench.kill_report import kills
from tests.bench.models import models
from tests.bench.scans import served
from tooling.models import Movement, Piece, Place
from tooling.queries.pieces import Filters, search_pieces
from tooling.services import scans
from tooling.services.scan_moves import ScanIn

SCANS = 1_000


def kit(built: Built) -> list[Figure]:
    """The kit page of 24 stations and 250 positions."""
    client = _client(built)
    url = f"/kits/{built.kit_number}/"

    def show() -> None:
        answer = client.get(url)
        assert answer.status_code == 200, answer.status_code

    page_ms = median_ms(show)
    with counting() as statements:
        show()
    return [
        Figure("kit page, median", page_ms, "ms", 150),
        Figure("kit page, queries", statements.count, "", 15),
        Figure("kit page, all SQL", statements.seconds * 1000, "ms", 30),
    ]


def poll(built: Built) -> list[Figure]:
    """What an open kit page asks each second when nothing moved."""
    client = _client(built)
    page = client.get(f"/kits/{built.kit_number}/")
    url = _poll_address(page.content.decode())

    def ask() -> None:
        assert client.get(url).status_code == 204

    quiet_ms = median_ms(ask, times=101)
    with counting() as statements:
        ask()
    return [
        Figure("unchanged poll, median", quiet_ms, "ms", 3),
        Figure("unchanged poll, queries", statements.count, "", 3),
    ]


def _poll_address(html: str) -> str:
    """The address that the page itself asks."""
    marker = 'hx-get="/kits/'
    start = html.index(marker) + len('hx-get="')
    return html[start : html.index('"', start)].replace("&amp;", "&")


def _client(built: Built) -> Client:
    client = Client()
    client.force_login(built.person, backend="tooling.web.zone.ShopBackend")
    return client


def scan_batches(built: Built) -> list[Figure]:
    """A batch of 1,000 scans of random pieces against the same rows by ``executemany``."""
    dice = random.Random(7)
    keys = list(Piece.objects.filter(kit_positions=None).values_list("id", "code"))
    places = list(Place.objects.filter(kind="shelf").values_list("id", "code"))
    ratios, replays, bares = [], [], []
    for _round in range(5):
        chosen = dice.sample(keys, SCANS)
        bare = _bare(chosen, dice.choice(places)[0])
        at = timezone.now()
        target = dice.choice(places)[1]
        batch = [
            ScanIn(id=uuid.uuid4(), happened_at=at - timedelta(seconds=1), to=target, code=code)
            for _id, code in chosen
        ]
        taken = seconds(lambda: _record(built, batch))  # noqa: B023 (called at once)
        again = seconds(lambda: _record(built, batch))  # noqa: B023 (called at once)
        ratios.append(taken / bare)
        replays.append(again / bare)
        bares.append(bare * 1000)
    ratios.sort()
    replays.sort()
    return [
        Figure("executemany of 1,000 movements and 1,000 pieces", sorted(bares)[2], "ms"),
        Figure("scan batch of 1,000 / executemany", ratios[2], "×", 4),
        Figure("the same batch again / executemany", replays[2], "×", 1),
    ]


def _record(built: Built, batch: list[ScanIn]) -> None:
    at = timezone.now()
    results = scans.record_batch(by=built.person, at=at, device="bench", device_now=at, scans=batch)
    assert {result.status for result in results} <= {"taken", "repeated"}, results[:2]


def _bare(chosen: list[tuple[int, str]], place: int) -> float:
    """Seconds for the same rows with nothing else: one transaction, two ``executemany``."""
    at = timezone.now()
    fields = [f for f in Movement._meta.concrete_fields if not f.primary_key]
    rows = []
    for piece, code in chosen:
        row = Movement(
            piece_id=piece, to_id=place, how="scan", happened_at=at, received_at=at,
            effective_at=at, code_read=code, scan=uuid.uuid4(),
        )  # fmt: skip
        rows.append([f.get_db_prep_save(getattr(row, f.attname), connection) for f in fields])
    names = ", ".join(f.column for f in fields)
    marks = ", ".join(["%s"] * len(fields))
    insert = f"INSERT INTO tooling_movement ({names}) VALUES ({marks})"
    stamp = connection.ops.adapt_datetimefield_value(at)
    update = (
        "UPDATE tooling_piece SET place_id=%s, placed_effective_at=%s, placed_received_at=%s, "
        "seen_at=%s WHERE id=%s"
    )
    changes = [(place, stamp, stamp, stamp, piece) for piece, _code in chosen]

    def write() -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.executemany(insert, rows)
            cursor.executemany(update, changes)

    taken = seconds(write)
    _settle(chosen)
    return taken


def _settle(chosen: list[tuple[int, str]]) -> None:
    """Name the bare rows as what placed these pieces, so that ``verify`` still holds."""
    ids = [piece for piece, _code in chosen]
    newest: dict[int, int] = {}
    for key, piece in Movement.objects.filter(piece__in=ids).values_list("id", "piece_id"):
        newest[piece] = max(newest.get(piece, 0), key)
    Piece.objects.bulk_update(
        [Piece(id=piece, placed_by_id=key) for piece, key in newest.items()],
        ["placed_by"],
        batch_size=400,
    )


def piece_search(built: Built) -> list[Figure]:
    """What a person types: a mark, a code, a drawing; and the plans that the database makes."""
    mark = Piece.objects.order_by("-id").values_list("mark", flat=True)[0]
    figures = []
    for name, text in (("mark", mark), ("start of a mark", mark[:4]), ("drawing", "D-000123")):
        figures.append(
            Figure(
                f"search by {name}, median",
                median_ms(lambda: _search(text), times=11),  # noqa: B023 (called at once)
                "ms",
                50,
            )
        )
        with counting() as statements:
            _search(text)
        figures.append(
            Figure(f"search by {name}, full scans", _full_scans(statements.texts), "", 0)
        )
    return figures


def _search(text: str) -> None:
    assert search_pieces(Filters(text=text)).rows


def _full_scans(statements: list[tuple[str, Any]]) -> int:
    """Plans that read all of pieces or movements."""
    found = 0
    verb = "EXPLAIN QUERY PLAN " if connection.vendor == "sqlite" else "EXPLAIN "
    for sql, params in statements:
        if not sql.lstrip().upper().startswith(("SELECT", "WITH")):
            continue
        with connection.cursor() as cursor:
            cursor.execute(verb + sql, params)
            plan = " | ".join(str(row[-1]) for row in cursor.fetchall())
        for table in ("tooling_piece", "tooling_movement"):
            whole = (f"SCAN {table}", f"Seq Scan on {table} ")
            found += any(phrase in plan and f"SCAN {table} USING" not in plan for phrase in whole)
    return found


def thousand_labels(built: Built) -> list[Figure]:
    """1,000 labels against the bare encoding, their memory, and every one decoded back."""
    codes = list(Piece.objects.values_list("code", "mark")[:1000])
    result = labels.measure(codes)
    return [
        Figure("bare encoding of 1,000 codes, fixed mask", result.bare_seconds * 1000, "ms"),
        Figure("1,000 labels as PDF / bare encoding", result.ratio, "×", 8),
        Figure("1,000 labels, most memory", result.peak_mb, "MB", 100),
        Figure("labels not read back out of 1,000", result.unread, "", 0),
    ]


MEASURES: dict[str, Callable[[Built], list[Figure]]] = {
    "kit": kit,
    "poll": poll,
    "scans": lambda built: [*scan_batches(built), *served(built)],
    "kills": kills,
    "models": models,
    "search": piece_search,
    "labels": thousand_labels,
    "putaway": put_away.put_away,
    "notice": notice.notice,
    "backup": backup.backup,
    "imports": imports.imports,
    "register": register.register,
    "sheet": sheet.sheet,
    "setups": setups.setups_measured,
    "runs": runs.runs_measured,
    "forecasts": forecasts.forecasts_measured,
    "scanpage": scan_page.scan_page,
    "stacks": stacks.stacks,
    "wear": wear.wear,
    "regrind": regrind.regrind,
}
