"""The setup sheet on paper and as a page, against the four passes worked out by hand."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfReader

from tests.four_passes import FourPasses, four_passes
from tests.paper.reading import page_texts, pages, read
from tests.world import World
from tooling.models import Kit, Person, SetupChart
from tooling.services import charts

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world: World, engineer: Person) -> FourPasses:
    return four_passes(world, engineer)


@pytest.fixture
def client_in(client: Client, viewer: Person) -> Client:
    client.force_login(viewer, backend="tooling.web.zone.ShopBackend")
    return client


def pdf(client: Client, shop: FourPasses, paper: str = "a4") -> bytes:
    answer = client.get(f"/setups/{shop.kit.number}/sheet.pdf", {"paper": paper})
    assert answer["Content-Type"] == "application/pdf"
    return answer.content


WORKED = (
    "Gap 1.25 mm (strip +0.05 mm), at web, feelers, unloaded",
    "GO 1.15 mm (0.15 + 1) · NO-GO 1.35 mm (0.35 + 1)",
    "155.55 mm",
    "top shaft down 0.7 mm (0.35 turns)",
    "The pass line falls 0.4 mm: set guides, side rolls and entry again.",
    "(the feeler sees 1 mm)",
    "GO 0.95 mm · NO-GO 1.05 mm (0.05 + 1)",
    "face inclined 60°",
    "162 mm (diameters not measured)",
    "set by spacers: the face is near-vertical",
    "165.9 mm (by the drive diameters: none are kept at the gap point)",
    "top shaft down 0.2 mm (0.1 turns), bottom shaft up 0.1 mm (0.05 turns)",
    "was 1.55 mm",
    "was 6.5 turns",
    "found in another way: feelers; loaded differently",
    "the screws' zero has moved since",
    "set it again: the pass line has moved",
    "Watch the lip.",
    "Idle stations: 3, 6.",
    "height 12 mm",
    "in or out −0.5 mm",
    "tilt 1.5°",
    "Numbers unproved",
    "Lock out before hands go in.",
    "The site's own procedures, local codes and qualified people decide.",
    "Ø 159.4",
    "24.0 kg",
    "4-T1 · split · mark faces outboard",
    "To fetch: Rack A",
)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_sheet_on_paper_says_what_was_worked_out_by_hand(
    client_in: Client, shop: FourPasses, paper: str
) -> None:
    data = pdf(client_in, shop, paper)
    told = " ".join(page_texts(data))
    missing = [each for each in WORKED if each not in told]
    assert missing == []
    sizes = {"a4": (595, 842), "letter": (612, 792)}
    reader = PdfReader(BytesIO(data))
    for number, page in enumerate(reader.pages, start=1):
        box = page.mediabox
        assert (round(box.width), round(box.height)) == sizes[paper]
        text = " ".join(page.extract_text().split())
        assert f"page {number} of {len(reader.pages)}" in text
        assert shop.kit.number in text


def test_the_code_on_the_sheet_opens_the_setup(client_in: Client, shop: FourPasses) -> None:
    first, *more = pages(pdf(client_in, shop))
    assert read(first) == [shop.kit.number]
    assert all(read(each) == [] for each in more)


def test_every_roll_stands_once_in_the_order_of_the_stations(
    client_in: Client, shop: FourPasses
) -> None:
    told = " ".join(page_texts(pdf(client_in, shop)))
    codes = list(shop.kit.positions.values_list("piece__code", flat=True))
    assert [told.count(code) for code in codes] == [1] * 9
    heads = [told.index(f"Station {n} · pass {p}") for p, n in ((1, 1), (2, 2), (3, 4), (4, 5))]
    assert heads == sorted(heads)


def test_a_proved_chart_says_proved(client_in: Client, shop: FourPasses) -> None:
    SetupChart.objects.update(state="proved")
    told = " ".join(page_texts(pdf(client_in, shop)))
    assert "Proved A good run was made with these numbers." in told
    assert "unproved" not in told


def test_the_page_says_the_same_and_offers_both_papers(client_in: Client, shop: FourPasses) -> None:
    html = client_in.get(f"/setups/{shop.kit.number}/chart/").content.decode()
    for said in ("155.55 mm", "0.95 mm", "set by spacers", "<s>1.6 mm</s>", "was 6.5 turns"):
        assert said in html, said
    assert f"/setups/{shop.kit.number}/sheet.pdf?paper=letter" in html
    assert 'data-proof="unproved"' in html
    assert (
        html.index('id="station-1"') < html.index('id="station-2"') < html.index('id="station-4"')
    )


def test_the_page_moves_only_when_the_kit_does(
    client_in: Client, shop: FourPasses, engineer: Person
) -> None:
    live = f"/setups/{shop.kit.number}/chart/live/"
    kit = Kit.objects.get(pk=shop.kit.pk)
    assert client_in.get(live, {"v": kit.version}).status_code == 204
    chart = SetupChart.objects.get()
    two = chart.chart_passes.get(set_pass__number=2)
    charts.place_pass(
        by=engineer, at=shop.world.at, chart=chart, set_pass=two.set_pass, station=two.station,
        gap_nm=1_900_000,
    )  # fmt: skip
    moved = client_in.get(live, {"v": kit.version})
    assert moved.status_code == 200
    assert "1.9 mm" in moved.content.decode()


def test_an_inch_set_is_said_in_inches_and_a_reader_may_choose(
    client: Client, world: World, engineer: Person, viewer: Person
) -> None:
    shop = four_passes(world, engineer, unit="in")
    client.force_login(viewer, backend="tooling.web.zone.ShopBackend")
    drawn = " ".join(page_texts(pdf(client, shop)))
    assert "GO 0.046 in (0.021 + 0.025)" in drawn
    assert "Gap, inboard end 0.0492 in 0.0492 in was 0.0610 in" in drawn
    viewer.length_unit = "mm"
    viewer.save()
    chosen = " ".join(page_texts(pdf(client, shop)))
    assert "155.55 mm" in chosen
    assert "155.55 mm" not in drawn


@pytest.mark.parametrize("address", ["sheet.pdf", "chart/", "chart/live/"])
def test_what_is_not_there_is_said(client_in: Client, address: str) -> None:
    answer: Any = client_in.get(f"/setups/K0000000/{address}")
    assert answer.status_code == 404
    assert "unknown_kit" in answer.content.decode()
