"""The setup sheet of 24 stations, asked of the server as a printer and a tablet ask for it."""

from __future__ import annotations

from django.test import Client

from tests.bench.build import Built
from tests.bench.clock import Figure, counting, median_ms
from tooling.models import Kit

PDF_MS = 2_000


def sheet(built: Built) -> list[Figure]:
    """Both papers and the page; the page of the kit in the same run to compare with."""
    client = Client()
    client.force_login(built.person, backend="tooling.web.zone.ShopBackend")
    url = f"/setups/{built.kit_number}"
    stations = Kit.objects.get(number=built.kit_number).positions.values("station_number")

    def print_on(paper: str) -> None:
        answer = client.get(f"{url}/sheet.pdf", {"paper": paper})
        assert answer.content.startswith(b"%PDF"), answer.status_code

    def show(address: str) -> None:
        assert client.get(address).status_code == 200

    with counting() as statements:
        print_on("a4")
    return [
        Figure("sheet: stations", stations.distinct().count(), ""),
        Figure("sheet on A4, median", median_ms(lambda: print_on("a4"), times=11), "ms", PDF_MS),
        Figure(
            "sheet on Letter, median", median_ms(lambda: print_on("letter"), times=11), "ms", PDF_MS
        ),
        Figure("sheet, queries", statements.count, "", 28),
        Figure("sheet as a page, median", median_ms(lambda: show(f"{url}/chart/")), "ms", 500),
        Figure(
            "the kit's own page, to compare",
            median_ms(lambda: show(f"/kits/{built.kit_number}/")),
            "ms",
        ),
    ]
