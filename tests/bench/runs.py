"""The end of a run: one number, put on every piece of 24 stations, each with a gauge point.

Baseline in the same run: the answer that only says the service is up (``/healthz``).
"""

from __future__ import annotations

from datetime import timedelta

from django.test import Client
from django.utils import timezone

from tests.bench.build import Built
from tests.bench.clock import Figure, counting, median_ms
from tooling.models import Drawing, GaugePoint, Kit, KitPosition, LengthEntry, Piece, Place, Setup
from tooling.services import mounting, setups
from tooling.services.movements import move_pieces

RUN_MS = 50


def runs_measured(built: Built) -> list[Figure]:
    """Server time of posting a run by the API, with all its checks."""
    client = Client()
    client.force_login(built.person, backend="tooling.web.zone.ShopBackend")
    setup = _mounted(built)
    pieces = KitPosition.objects.filter(kit=setup.kit, piece__isnull=False).count()
    body = {"setup": setup.kit.number, "length_m": "1250.5", "coil": "C-1"}

    def post() -> None:
        answer = client.post("/api/v1/runs/", body, content_type="application/json")
        assert answer.status_code == 201, answer.content[:400]

    posted_ms = median_ms(post)
    before = LengthEntry.objects.count()
    with counting() as statements:
        post()
    assert LengthEntry.objects.count() == before + pieces
    bare_ms = median_ms(lambda: client.get("/healthz"), times=51)
    return [
        Figure("pieces that one run is put on", pieces, ""),
        Figure("posting a run of 24 stations, median", posted_ms, "ms", RUN_MS),
        Figure("the same, statements", statements.count, ""),
        Figure("the same, all SQL", statements.seconds * 1000, "ms"),
        Figure("an answer that says only that it is up, as baseline", bare_ms, "ms"),
        Figure("posting a run / that", posted_ms / bare_ms, "×"),
    ]


def _mounted(built: Built) -> Setup:
    """The first kit on its mill, all of it; its drawings have a gauge point each."""
    kit = Kit.objects.select_related("job").get(number=built.kit_number)
    at, by = timezone.now() - timedelta(hours=1), built.person
    code = "C000002F"
    cart = Place.objects.create(
        code=code, kind="cart", name="Run cart", path=f"/{code}/", path_name="Run cart"
    )
    Kit.objects.filter(pk=kit.pk).update(place=cart)
    rows = KitPosition.objects.filter(kit=kit, piece__isnull=False)
    drawings = Drawing.objects.filter(pk__in=rows.values("drawing"), gauge_points=None)
    GaugePoint.objects.bulk_create(
        GaugePoint(
            drawing=drawing,
            name="root",
            dimension="root_diameter",
            new_nm=150_000_000,
            limit_nm=149_400_000,
        )
        for drawing in drawings
    )
    pieces = Piece.objects.filter(pk__in=rows.values("piece"))
    move_pieces(by=by, at=at, pieces=list(pieces), to=cart)
    setup = Setup.objects.filter(kit=kit).first() or setups.start_setup(by=by, at=at, kit=kit)
    for station, shaft in sorted(set(rows.values_list("station_number", "shaft"))):
        mounting.mount(by=by, at=at, setup=setup, station=station, shaft=shaft)
    return setup
