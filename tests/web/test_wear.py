"""The pages of wear: ranked list, a piece's charts, the reading sheet, pools, life and money."""

from __future__ import annotations

import csv
import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.world import MM, World
from tooling import models
from tooling.engineering.lengths import NM_PER_M
from tooling.models import Gauge, GaugePoint, Person, Piece, Reading, Task, WearState
from tooling.queries.life_money import life_page, life_rows
from tooling.queries.piece_wear import piece_wear
from tooling.queries.reading_sheet import Asked, reading_sheet
from tooling.queries.wear import wear_page
from tooling.services import gauge_points, lengths_run, readings, wear_states
from tooling.services.point_readings import record_point_reading
from tooling.services.wear_work import learn

pytestmark = pytest.mark.django_db
KM = 1_000 * NM_PER_M


class Shop:
    """Two sets with a roll each that was read three times; their jobs run other strip."""

    def __init__(self, world: World, engineer: Person) -> None:
        self.now = timezone.now()
        world.at = self.now
        rack = world.place("Rack")
        mill = world.mill("M1")
        self.pieces: list[Piece] = []
        plan = (("light", "cold rolled", 60_000), ("heavy", "galvanised", 40_000))
        for n, (name, kind, metres) in enumerate(plan):
            drawing = world.drawing(f"D-{name}", root_diameter_nm=150 * MM, material="D2")
            piece = world.piece(drawing, rack, mark=f"roll {name}")
            tool_set = world.tool_set(f"S-{name}", {(1, "top", 1): drawing})
            world.copy(tool_set, "A", {(1, "top", 1): piece})
            world.job(
                tool_set, mill, number=f"J-{name}", in_hours=24 * (n + 1),
                strip_class=kind, length_nm=metres * NM_PER_M,
            )  # fmt: skip
            self.pieces.append(Piece.objects.select_related("drawing", "revision").get(pk=piece.pk))
            gauge_points.save_gauge_point(
                by=engineer, at=self.now, drawing=drawing, name="root", limit_nm=149_800_000,
                dimension="root_diameter",
            )  # fmt: skip

    def wear(self, by: Person, piece: Piece, *, times: int = 3, um: int = 15) -> None:
        for n in range(1, times + 1):
            then = self.now - timedelta(days=30 - 3 * n)
            lengths_run.record_length(
                by=by, at=self.now, piece=piece, length_nm=30 * KM, happened_at=then
            )
            readings.record_reading(
                by=by, at=self.now, piece=piece, dimension="root_diameter", unit="mm", sure=True,
                value_nm=150 * MM - 1_000 * um * n, happened_at=then + timedelta(hours=1),
            )  # fmt: skip


@pytest.fixture
def shop(world: World, engineer: Person) -> Shop:
    return Shop(world, engineer)


@pytest.fixture
def page(log_in: Any, engineer: Person) -> Client:
    client: Client = log_in(engineer)
    return client


def text_of(answer: Any) -> str:
    said: str = answer.content.decode()
    return said


def order(page: Client, query: str = "") -> list[str]:
    text = text_of(page.get(f"/wear/{query}"))
    return [part.split('"')[0] for part in text.split('data-piece="')[1:]]


def test_an_empty_shop_is_taught_the_first_step(page: Client) -> None:
    assert "No wear is told yet" in text_of(page.get("/wear/"))
    assert "Nothing to read here" in text_of(page.get("/wear/readings/"))
    assert "Nothing was learned yet" in text_of(page.get("/wear/pools/"))
    assert "Nothing has run" in text_of(page.get("/wear/life/"))


def test_a_heavier_strip_reorders_the_list(shop: Shop, page: Client, crew: Person) -> None:
    """Less is left in the second; the first runs sooner, and more of it in the heavy strip."""
    first, second = shop.pieces
    shop.wear(crew, first, um=22)
    shop.wear(crew, second, um=24)
    own = wear_page(at=shop.now)
    assert {row.piece: row.strip_class for row in own.rows} == {
        first.code: "cold rolled", second.code: "galvanised",
    }  # fmt: skip
    assert order(page)[0] == second.code
    assert order(page, "?class=stainless")[0] == first.code
    heavy = wear_page(at=shop.now, chosen="stainless")
    left = {row.piece: row.left_half_nm or 0 for row in own.rows}
    for row in heavy.rows:
        assert 0 < (row.left_half_nm or 0) < left[row.piece]


def test_a_pool_estimate_gives_no_date(shop: Shop, page: Client, crew: Person) -> None:
    shop.wear(crew, shop.pieces[0], times=1)
    (row,) = [row for row in wear_page(at=shop.now).rows if row.piece == shop.pieces[0].code]
    assert (row.says, row.until, row.outlasts_plan) == ("estimate", None, False)
    assert "pool estimate, no date yet" in text_of(page.get("/wear/"))


def test_the_sheet_keeps_each_box_as_it_is_left(shop: Shop, page: Client, crew: Person) -> None:
    piece = shop.pieces[0]
    shop.wear(crew, piece)
    point = GaugePoint.objects.get(drawing=piece.drawing)
    text = text_of(page.get(f"/wear/readings/?piece={piece.code}"))
    key = f"{piece.code}-{point.pk}-"
    row_id = text.split(f'name="id-{key}" value="')[1].split('"')[0]
    url = f"/wear/readings/keep/?piece={piece.code}&point={point.pk}&end="

    def put(typed: str, **more: str) -> str:
        return text_of(page.post(url, {f"value-{key}": typed, f"id-{key}": row_id, **more}))

    assert 'data-code="not_a_length"' in put("much")
    asked = put("149.99")
    assert 'data-code="grown"' in asked
    assert "It is right" in asked
    assert 'data-code="ambiguous_length"' in put("5.904")
    low, high = text.split("&amp;low=")[1].split('"')[0].split("&amp;high=")
    assert 149_850_000 < int(low) < int(high) < 150_000_000
    url = f"{url}&low={low}&high={high}"
    worn = put("149.7")
    assert "far from what is expected" in worn
    assert "It is right" in worn
    assert 'data-code="ambiguous_length"' in put("5.904")
    assert "149.940 mm" in put("149.94")
    assert "149.940 mm" in put("149.94"), "the same again is kept once"
    assert "149.930 mm" in put("149.93"), "typed anew, it puts right what was kept"
    kept = Reading.objects.filter(corrected_by=None).order_by("-pk")
    assert (kept[0].value_nm, kept[0].corrects is not None, kept.count()) == (149_930_000, True, 4)


def test_what_was_read_just_now_is_not_due(shop: Shop, page: Client, crew: Person) -> None:
    piece = shop.pieces[0]
    shop.wear(crew, piece)
    due = [row.piece for row in reading_sheet(Asked()).rows]
    assert piece.code in due
    readings.record_reading(
        by=crew, at=shop.now, piece=piece, dimension="root_diameter", unit="mm", sure=True,
        value_nm=149_950_000,
    )  # fmt: skip
    assert piece.code not in [row.piece for row in reading_sheet(Asked()).rows]
    assert [row.piece for row in reading_sheet(Asked(piece=piece.code)).rows] == [piece.code]


def test_all_of_a_row_has_the_decimals_of_its_gauge(shop: Shop, page: Client, crew: Person) -> None:
    piece = shop.pieces[0]
    shop.wear(crew, piece)
    coarse = Gauge.objects.create(number="V-1", name="vernier", resolution_nm=10_000)
    readings.record_reading(
        by=crew, at=shop.now, piece=piece, dimension="root_diameter", unit="mm", sure=True,
        value_nm=149_900_000, gauge=coarse,
    )  # fmt: skip
    said = text_of(page.get(f"/wear/readings/?piece={piece.code}"))
    assert "149.90 mm" in said
    assert "≥ 149.80 mm" in said
    assert re.findall(r"[0-9]+\.[0-9]+(?= mm … | mm<)", said) != []
    assert {len(each) for each in re.findall(r"[0-9]+\.([0-9]+) mm", said)} == {2}


def test_templates_are_told_by_one_key_and_the_whole_sheet_by_one_button(
    shop: Shop, page: Client, engineer: Person
) -> None:
    piece = shop.pieces[1]
    point = gauge_points.save_gauge_point(
        by=engineer, at=shop.now, drawing=piece.drawing, name="lip", kind="template",
        has_two_ends=True,
    )  # fmt: skip
    url = f"/wear/readings/?piece={piece.code}"
    key = f"value-{piece.code}-{point.pk}"
    boxes = {f"{key}-inboard": "l", f"{key}-outboard": "Q"}
    answer = page.post(url, boxes)
    assert (answer.status_code, 'data-code="no_verdict"' in text_of(answer)) == (400, True)
    boxes[f"{key}-outboard"] = "x"
    page.post(url, boxes)
    assert set(Reading.objects.values_list("end", "verdict")) >= {
        ("inboard", "light"), ("outboard", "fails"),
    }  # fmt: skip
    paper = page.get("/wear/readings.pdf?paper=letter")
    assert paper.content.startswith(b"%PDF")


def test_what_was_learned_is_shown_plainly_and_asked_for(
    shop: Shop, page: Client, crew: Person
) -> None:
    shop.wear(crew, shop.pieces[0])
    page.post("/wear/pools/learn/")
    page.post("/wear/pools/learn/")
    assert Task.objects.filter(kind="learn_wear").count() == 1
    assert learn(at=shop.now) == 2
    said = text_of(page.get("/wear/pools/"))
    assert "roll D2 root_diameter" in said
    assert "this shop&#x27;s readings" in said or "memory, until learned" in said


def test_of_two_words_at_the_same_strip_the_sheet_shows_the_last(
    shop: Shop, engineer: Person, crew: Person
) -> None:
    piece = shop.pieces[0]
    lip = gauge_points.save_gauge_point(
        by=engineer, at=shop.now, drawing=piece.drawing, name="lip", kind="template"
    )
    for n, verdict in enumerate(("light", "fails")):
        record_point_reading(
            by=crew, at=shop.now, piece=piece, point=lip, verdict=verdict,
            happened_at=shop.now - timedelta(hours=2 - n),
        )  # fmt: skip
    (row,) = (r for r in reading_sheet(Asked(piece=piece.code)).rows if r.point == "lip")
    assert row.last_verdict == "fails"


def test_life_and_money_per_set_and_as_a_file(shop: Shop, page: Client, crew: Person) -> None:
    piece = shop.pieces[0]
    shop.wear(crew, piece)
    revision = piece.revision
    revision.new_cost_cents, revision.least_root_diameter_nm = 42_000, 142_500_000
    revision.save()
    Piece.objects.filter(pk=piece.pk).update(mark="=1+1")
    models.Shop.objects.update(currency="EUR")
    said = text_of(page.get("/wear/life/"))
    assert 'data-set="S-light"' in said
    sheet = page.get("/wear/life.csv?set=S-light").content.decode("utf-8-sig").splitlines()
    row = dict(zip(sheet[0].split(","), sheet[1].split(","), strict=True))
    assert (row["Strip run (m)"], row["Cuts left"], row["Spent"]) == ("90000", "9", "420.00")
    assert row["Mark"] == "'=1+1", "no cell is a formula"
    assert (row["Currency"], row["Spent per km"]) == ("EUR", "4.67")
    sums = life_page()
    assert sums.sums[0].per_km == 467
    assert sums.whole.spent_cents == 42_000
    assert sums.whole.per_km is None


def test_life_and_money_of_whole_sets_as_a_file_and_by_program(
    shop: Shop, page: Client, crew: Person, api_as: Any
) -> None:
    api = api_as(crew)
    assert api.get("/api/v1/wear/life/sums/").json()["sums"] == []
    assert "Sets as a file" not in text_of(page.get("/wear/life/"))
    light, heavy = shop.pieces
    shop.wear(crew, light)
    for piece, cents in ((light, 42_000), (heavy, None)):
        piece.revision.new_cost_cents = cents
        piece.revision.least_root_diameter_nm = 142_500_000
        piece.revision.save()
    models.Shop.objects.update(currency="EUR")
    assert 'href="/wear/life.csv?by=set"' in text_of(page.get("/wear/life/"))
    sheet = page.get("/wear/life.csv?by=set").content.decode("utf-8-sig").splitlines()
    head, *rows = list(csv.reader(sheet))
    assert head == [
        "Set", "Pieces", "Strip run, most (m)", "Cuts", "Cuts left, fewest", "Currency", "Spent",
        "Spent per km", "Value", "At risk", "Pieces without a price",
    ]  # fmt: skip
    assert rows == [
        ["S-heavy", "1", "0", "0", "10", "EUR", "", "", "", "", "1"],
        ["S-light", "1", "90000", "0", "9", "EUR", "420.00", "4.67", "420.00", "", "0"],
        ["All pieces", "2", "90000", "0", "9", "EUR", "420.00", "", "420.00", "", "1"],
    ]
    one = page.get("/wear/life.csv?by=set&set=s-light").content.decode("utf-8-sig")
    assert list(csv.reader(one.splitlines()))[1:] == rows[1:2]
    told = api.get("/api/v1/wear/life/sums/").json()
    assert (told["currency"], [each["set"] for each in told["sums"]]) == (
        "EUR", ["S-heavy", "S-light"],
    )  # fmt: skip
    assert (told["whole"]["pieces"], told["whole"]["per_km_cents"]) == (2, None)
    (row,) = api.get("/api/v1/wear/life/sums/?set=S-light").json()["sums"]
    assert row == {
        "set": "S-light", "pieces": 1, "run_m": "90000", "cuts": 0, "cuts_left": 9,
        "spent_cents": 42_000, "per_km_cents": 467, "value_cents": 42_000, "at_risk_cents": None,
        "unpriced": 0,
    }  # fmt: skip


def test_a_piece_that_never_ran_tells_the_cuts_it_has(shop: Shop) -> None:
    piece = shop.pieces[1]
    assert piece.code not in [row.piece for row in life_rows()]
    piece.revision.least_root_diameter_nm = 142_500_000
    piece.revision.save()
    (row,) = [row for row in life_rows() if row.piece == piece.code]
    assert (row.cuts_left, row.run_nm, row.value_cents) == (10, 0, None)


@pytest.mark.parametrize(("many", "folds"), [(1, 0), (40, 0), (250, 13)])
def test_a_set_of_many_pieces_is_folded_and_prints_whole(
    many: int, folds: int, world: World, page: Client
) -> None:
    rack, spots = world.place("Rack"), range(1, many + 1)
    drawings = {(n, "top", 1): world.drawing(f"D{n}", new_cost_cents=9_000) for n in spots}
    tool_set = world.tool_set("L-1", drawings)
    pieces = {spot: world.piece(drawing, rack, mark=f"M{spot[0]}")
              for spot, drawing in drawings.items()}  # fmt: skip
    world.copy(tool_set, "A", pieces)
    said = text_of(page.get("/wear/life/?set=L-1"))
    assert set(re.findall(r'data-piece="(\w+)"', said)) == {p.code for p in pieces.values()}
    assert len(re.findall(r"<details [^>]*data-prints", said)) == folds
    assert said.count("data-prints open>") == min(folds, 1)
    assert ("M1 to M20, 20 pieces" in said) is bool(folds)


@pytest.mark.parametrize("many", [1, 30])
def test_queries_do_not_grow(
    shop: Shop, world: World, crew: Person, many: int, django_assert_num_queries: Any
) -> None:
    rack = world.place("Rack 2")
    drawing = shop.pieces[0].drawing
    more = [world.piece(drawing, rack) for _ in range(many)]
    wear_states.refresh_wear([piece.pk for piece in more], at=shop.now)
    assert WearState.objects.count() >= many
    shop.wear(crew, shop.pieces[0])
    with django_assert_num_queries(5):
        wear_page(at=shop.now)
    with django_assert_num_queries(13):
        reading_sheet(Asked(drawing=drawing.number))
    with django_assert_num_queries(18):
        piece_wear(shop.pieces[0].code, at=shop.now)
