"""The page of one piece's wear: chart, line and band, what to measure next."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from tests.web.test_wear import KM, Shop, text_of
from tests.world import MM, World
from tooling.models import Person
from tooling.queries.piece_wear import PointWear, piece_wear
from tooling.queries.reading_sheet import Asked, reading_sheet
from tooling.queries.wear import wear_page
from tooling.services import gauge_points, lengths_run, readings, wear_states, work
from tooling.services.point_readings import record_point_reading
from tooling.services.wear_work import learn

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world: World, engineer: Person) -> Shop:
    return Shop(world, engineer)


@pytest.fixture
def page(log_in: Any, engineer: Person) -> Client:
    client: Client = log_in(engineer)
    return client


def test_a_pieces_chart_shows_readings_limit_cut_and_jobs(
    shop: Shop, page: Client, crew: Person, engineer: Person
) -> None:
    piece = shop.pieces[0]
    shop.wear(crew, piece)
    work.record_work(
        by=engineer, at=shop.now, piece=piece, kind="regrind",
        done_on=(shop.now - timedelta(days=10)).date(),
        sizes={"root_diameter": (149_955_000, 149_900_000)},
    )  # fmt: skip
    lengths_run.record_length(
        by=crew, at=shop.now, piece=piece, length_nm=20 * KM,
        happened_at=shop.now - timedelta(days=2),
    )  # fmt: skip
    said = text_of(page.get(f"/wear/{piece.code}/"))
    wide = said.partition('class="only-wide"')[2].partition('class="only-narrow"')[0]
    assert wide.count("data-reading=") == 3
    assert wide.count("data-off=") == 0, "all were read before the cut"
    for look in ("wear-limit", "wear-band", "wear-cut", 'data-job="J-light"', "<desc"):
        assert look in said, look
    assert "What is expected ahead" in said
    told = piece_wear(piece.code, at=shop.now).points[0]
    cut, now = told.cuts[0].at_km, told.now_km
    assert [km for km, _nm in told.line] == [cut, now], "from the value after the cut"
    assert told.line[0][1] == 149_900_000
    assert told.band[0].at_km == now > cut
    assert told.band[0].middle_nm == pytest.approx(told.line[1][1], abs=1)
    assert told.band[0].low_nm < told.band[0].middle_nm < told.band[0].high_nm
    assert told.band[-1].middle_nm < told.band[0].middle_nm
    assert told.ahead[0].chance is not None
    said_of = [replace(told.ahead[0], chance=c).percent for c in (0.0, 0.012, 0.5, 0.989, 1.0)]
    assert said_of == ["under 1", "1", "50", "99", "over 99"]


def test_only_what_ran_since_is_said_to_wait_for_a_reading(
    shop: Shop, page: Client, crew: Person, engineer: Person
) -> None:
    """Never run; read after the cut and not run; run since; run and read."""
    piece, ran = shop.pieces[0], "it ran and was not read since"
    fresh = "not read yet: read it before it runs"

    def said() -> list[str]:
        (row,) = [row for row in wear_page(at=shop.now).rows if row.piece == piece.code]
        (sheet,) = reading_sheet(Asked(piece=piece.code)).rows
        (point,) = piece_wear(piece.code, at=shop.now).points
        for words in (ran, fresh):
            first = point.look_words[:1] == (words,)
            assert (row.why == words, sheet.why == words) == (first, first)
        return list(point.look_words)

    def run(days: int) -> None:
        lengths_run.record_length(
            by=crew, at=shop.now, piece=piece, length_nm=9 * KM,
            happened_at=shop.now - timedelta(days=days),
        )  # fmt: skip

    def read(value_nm: int, days: int) -> None:
        readings.record_reading(
            by=crew, at=shop.now, piece=piece, dimension="root_diameter", unit="mm", sure=True,
            value_nm=value_nm, happened_at=shop.now - timedelta(days=days),
        )  # fmt: skip

    wear_states.refresh_wear([piece.pk], at=shop.now)
    assert said()[0] == fresh
    assert "Nobody read it yet" in text_of(page.get(f"/wear/{piece.code}/"))
    run(30)
    assert said()[:2] == [ran, "nobody read it before it began to run"]
    assert "before it began to run: that size" in text_of(page.get(f"/wear/{piece.code}/"))
    read(149_960_000, 29)
    assert ran not in said()
    work.record_work(
        by=engineer, at=shop.now, piece=piece, kind="regrind",
        done_on=(shop.now - timedelta(days=20)).date(),
        sizes={"root_diameter": (149_955_000, 149_900_000)},
    )  # fmt: skip
    read(149_900_000, 18)
    assert not {ran, fresh} & set(said())
    run(15)
    assert said()[0] == ran
    assert "nobody read it before it began to run" not in said()
    read(149_885_000, 12)
    assert ran not in said()
    run(10)
    assert ran not in said(), "its readings tell it"


def test_a_cut_point_has_a_line_from_its_first_value_on_and_none_before(
    shop: Shop, page: Client, crew: Person, engineer: Person
) -> None:
    """Cut, and its land not measured: like pieces tell a length, but of no value."""
    piece = shop.pieces[0]
    land = gauge_points.save_gauge_point(
        by=engineer, at=shop.now, drawing=piece.drawing, name="land", new_nm=260 * MM,
        depth_limit_nm=228_000,
    )  # fmt: skip

    def run(days: int) -> None:
        lengths_run.record_length(
            by=crew, at=shop.now, piece=piece, length_nm=40 * KM,
            happened_at=shop.now - timedelta(days=days),
        )  # fmt: skip

    def read(value_nm: int, days: int) -> None:
        record_point_reading(
            by=crew, at=shop.now, piece=piece, point=land, value_nm=value_nm, unit="mm", sure=True,
            happened_at=shop.now - timedelta(days=days),
        )  # fmt: skip

    def told() -> PointWear:
        return next(p for p in piece_wear(piece.code, at=shop.now).points if p.name == "land")

    wear_states.refresh_wear([piece.pk], at=shop.now)
    assert (told().line, told().band) == ((), ()), "nothing is known of its rate"
    assert "wear-figure" not in text_of(page.get(f"/wear/{piece.code}/")), "an empty picture"
    run(40)
    read(260 * MM - 20_000, 39)
    run(35)
    read(260 * MM - 40_000, 34)
    learn(at=shop.now)
    assert len(told().line) == 2
    assert "wear-figure" in text_of(page.get(f"/wear/{piece.code}/"))
    work.record_work(
        by=engineer, at=shop.now, piece=piece, kind="regrind",
        done_on=(shop.now - timedelta(days=30)).date(),
        sizes={"root_diameter": (149_955_000, 149_900_000)},
    )  # fmt: skip
    cut = told()
    assert cut.left_half_nm, "a depth may be lost, from whatever value"
    assert (cut.line, cut.band, cut.limit_nm, cut.has_start) == ((), (), None, False)
    assert "No value of it is known since it was cut" in text_of(page.get(f"/wear/{piece.code}/"))
    run(25)
    read(259_500_000, 24)
    run(20)
    found = told()
    assert (found.has_start, found.line[0][1], found.limit_nm) == (True, 259_500_000, 259_044_000)
    assert found.line[0][0] == pytest.approx(found.readings[-1].at_km)
    assert found.band[0].at_km == found.line[1][0] == found.now_km
    assert "No value of it is known" not in text_of(page.get(f"/wear/{piece.code}/"))
