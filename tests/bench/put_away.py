"""Forty pieces to one rack in forty-one scans, each asked of the server as the Scan page does."""

from __future__ import annotations

import gc
import statistics
import uuid
from typing import Any

from django.test import Client
from django.utils import timezone

from tests.bench.build import Built
from tests.bench.clock import Figure, counting, median_ms, seconds
from tooling.models import Piece, Place

PIECES = 40
WALK = 250
EACH_MS = 20


def put_away(built: Built) -> list[Figure]:
    """Server time of each scan, plain and guided; then the walk with a cart of 250 pieces."""
    client = Client()
    client.force_login(built.person, backend="tooling.web.zone.ShopBackend")
    codes = list(Piece.objects.filter(kit_positions=None).values_list("code", flat=True)[:1_000])
    rack, *others = Place.objects.filter(kind="shelf").order_by("-id")[:3]
    _scan(client, others[0].code, codes[-1])
    _settle()
    asked = _statements(client, others[0].code, codes[-2])
    plain = _round(client, rack.code, codes[:PIECES])
    Piece.objects.filter(code__in=codes[PIECES : 2 * PIECES]).update(home=rack)
    guided = _round(client, rack.code, codes[PIECES : 2 * PIECES], only_home=True)
    figures = [
        Figure(
            "41 scans of one rack and 40 pieces, median", statistics.median(plain), "ms", EACH_MS
        ),
        Figure("41 scans of one rack and 40 pieces, slowest", max(plain), "ms", EACH_MS),
        Figure("one scan, statements", asked, "", 20),
        Figure("the same, guided, median", statistics.median(guided), "ms", EACH_MS),
        Figure("the same, guided, slowest", max(guided), "ms", EACH_MS),
    ]
    return [*figures, *_walk(client, codes[-WALK:], others)]


def _settle() -> None:
    """As the web server does once its pages are loaded (``wsgi.py``)."""
    gc.collect()
    gc.freeze()


def _round(client: Client, rack: str, codes: list[str], **fields: Any) -> list[float]:
    """Milliseconds of the place's scan and of each piece's, one request each."""
    times = [seconds(lambda: client.get("/scan/read/", {"code": rack}))]
    times += [seconds(lambda: _scan(client, rack, code, **fields)) for code in codes]  # noqa: B023
    return [each * 1000 for each in times]


def _statements(client: Client, rack: str, code: str) -> int:
    """How much one scan asks of the database."""
    with counting() as statements:
        _scan(client, rack, code)
    return statements.count


def _scan(client: Client, to: str, code: str, **fields: Any) -> None:
    now = timezone.now().isoformat()
    scan = {"id": str(uuid.uuid4()), "happened_at": now, "to": to, "code": code, **fields}
    body = {"device": "bench phone", "device_now": now, "scans": [scan]}
    answer = client.post("/api/v1/scans/", body, content_type="application/json")
    assert answer.json()["results"][0]["status"] == "taken", answer.json()


def _walk(client: Client, codes: list[str], racks: list[Place]) -> list[Figure]:
    """The page of a cart whose pieces belong in two racks."""
    for number, code in enumerate(codes):
        Piece.objects.filter(code=code).update(home=racks[number % len(racks)])
    code = "C000001H"
    cart = Place.objects.create(
        code=code, kind="cart", name="Bench cart", path=f"/{code}/", path_name="Bench cart"
    )
    now = timezone.now().isoformat()
    scans = [
        {"id": str(uuid.uuid4()), "happened_at": now, "to": cart.code, "code": each}
        for each in codes
    ]
    body = {"device": "bench phone", "device_now": now, "scans": scans}
    client.post("/api/v1/scans/", body, content_type="application/json")

    def show() -> None:
        answer = client.get(f"/scan/put-away/{cart.code}/walk/")
        assert f"All {WALK // 2} put away here" in answer.content.decode()

    page_ms = median_ms(show, times=11)
    with counting() as statements:
        show()
    return [
        Figure("walk of 250 pieces, median", page_ms, "ms", 150),
        Figure("walk of 250 pieces, queries", statements.count, "", 20),
    ]
