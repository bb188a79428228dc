"""A setup of 24 stations: the answer at a station, and fifty tablets that ask each second.

Baselines in the same run: the page of the whole kit, and the answer that only says the service is
up (``/healthz``), which is what any request costs here.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from django.test import Client
from django.utils import timezone

from tests.bench.build import Built
from tests.bench.clock import Figure, counting, median_ms
from tooling.models import Kit, Setup
from tooling.services import setups

TABLETS = 50
SECONDS = 4
STATION_MS = 30
CORE_SHARE = 25


def setups_measured(built: Built) -> list[Figure]:
    """Server time of a station's page, and what fifty polling tablets take of a core."""
    client = Client()
    client.force_login(built.person, backend="tooling.web.zone.ShopBackend")
    kit = Kit.objects.select_related("job").get(number=built.kit_number)
    setup = Setup.objects.filter(kit=kit).first() or setups.start_setup(
        by=built.person, at=timezone.now(), kit=kit
    )
    first = kit.positions.filter(shaft="top").order_by("station_number").first()
    assert first is not None
    url = f"/setups/{kit.number}/stations/{first.station_number}/"

    def show() -> None:
        answer = client.get(url)
        assert answer.status_code == 200, answer.status_code
        assert b"data-shaft" in answer.content

    station_ms = median_ms(show)
    with counting() as statements:
        show()
    page_ms = median_ms(lambda: client.get(f"/kits/{kit.number}/"), times=7)
    setup.kit.refresh_from_db()
    return [
        Figure("station answer, median", station_ms, "ms", STATION_MS),
        Figure("the same, processor time, least", _processor_ms(show), "ms", STATION_MS),
        Figure("station answer, queries", statements.count, "", 20),
        Figure("the kit's own page, as baseline", page_ms, "ms"),
        Figure("station answer / the kit's page", station_ms / page_ms, "×", 1),
        *_polling(client, kit),
    ]


def _processor_ms(action: Callable[[], None], *, times: int = 15) -> float:
    """The least of the process's own time, which what else runs on the machine does not swell."""
    least = float("inf")
    for _ in range(times):
        began = time.process_time()
        action()
        least = min(least, time.process_time() - began)
    return least * 1000


def _polling(client: Client, kit: Kit) -> list[Figure]:
    """Fifty tablets at the stations of one setup, when nothing moves: 204 each second."""
    version = Kit.objects.values_list("version", flat=True).get(pk=kit.pk)
    numbers = sorted(set(kit.positions.values_list("station_number", flat=True)))
    asked = [
        f"/setups/{kit.number}/stations/{numbers[n % len(numbers)]}/live/?v={version}"
        for n in range(TABLETS)
    ]

    def ask(url: str) -> None:
        assert client.get(url).status_code == 204

    for url in asked[:5]:
        ask(url)
    began = time.process_time()
    for _second in range(SECONDS):
        for url in asked:
            ask(url)
    share = (time.process_time() - began) / SECONDS * 100
    bare_ms = median_ms(lambda: client.get("/healthz"), times=51)
    poll_ms = median_ms(lambda: ask(asked[0]), times=51)
    with counting() as statements:
        ask(asked[0])
    return [
        Figure(f"{TABLETS} tablets, each asking once a second", share, "% of a core", CORE_SHARE),
        Figure("one unchanged poll, median", poll_ms, "ms", 5),
        Figure("one unchanged poll, queries", statements.count, "", 3),
        Figure("an answer that says only that it is up, as baseline", bare_ms, "ms"),
        Figure("one unchanged poll / that", poll_ms / bare_ms, "×", 8),
    ]
