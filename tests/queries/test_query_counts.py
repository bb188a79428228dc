"""A page's reads are a fixed number of queries, kept by hand in ``tests/query_counts.json``."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.world import MM, World, make_person
from tooling.models import (
    Allotment,
    Change,
    Drawing,
    DrawingRevision,
    Gauge,
    LabelEvent,
    LengthEntry,
    Mill,
    MillShaft,
    Movement,
    Owner,
    Piece,
    PieceAlias,
    Place,
    Reading,
    RefusedScan,
    Role,
    SetCopy,
    SetPass,
    SetPosition,
    SetupChart,
    Station,
    StockLine,
    ToolSet,
    Work,
    WorkMeasure,
)
from tooling.models.sets import ChartPass
from tooling.queries.charts import chart_page
from tooling.queries.drawings import drawing_list, drawing_page
from tooling.queries.mills import mill_list, mill_page
from tooling.queries.piece_history import piece_history
from tooling.queries.piece_page import piece_page
from tooling.queries.pieces import Filters, search_pieces
from tooling.queries.places import place_news, place_page, top_places
from tooling.queries.scan_known import known, known_version
from tooling.queries.sets import set_list, set_page
from tooling.queries.settings import settings_page
from tooling.queries.shop import gauge_list, people_list, shop_page, stock_list
from tooling.queries.stock_hand import hand
from tooling.queries.stock_needs import stock_needs
from tooling.queries.stock_news import stock_news

COUNTS: dict[str, int] = json.loads(
    (Path(__file__).resolve().parent.parent / "query_counts.json").read_text()
)


class Crowd:
    """One of everything that a page can show, and then N more of each."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.rack = world.place("Rack A")
        self.drawing = world.drawing("1472-01-T1", bore_nm=60 * MM, face_width_nm=40 * MM)
        self.piece = world.piece(self.drawing, self.rack, mark="1472-01-T1")
        self.line = world.stock(self.drawing, self.rack, 5)
        self.mill = world.mill("M1", stations=2)
        self.tool_set = world.tool_set("1472", {(1, "top", 1): self.drawing})
        self.chart = SetupChart.objects.create(tool_set=self.tool_set, mill=self.mill)
        self.cart = world.place("Cart 1", kind="cart")
        self.person = make_person("hand", Role.CREW)

    def grow(self, n: int) -> None:
        """N rows more in every table that a page reads, in a few statements each."""
        drawings = Drawing.objects.bulk_create(
            Drawing(number=f"1472-{i:03d}-T2", kind="roll") for i in range(n)
        )
        revisions = DrawingRevision.objects.bulk_create(
            DrawingRevision(drawing=each, revision="A", bore_nm=60 * MM, face_width_nm=9 * MM)
            for each in drawings
        )
        places = Place.objects.bulk_create(
            Place(
                code=f"PX{i:06d}", kind="shelf", name=f"S{i}", parent=self.rack,
                path=f"{self.rack.path}PX{i:06d}/", path_name=f"Rack A / S{i}",
            )
            for i in range(n)
        )  # fmt: skip
        pieces = Piece.objects.bulk_create(
            Piece(
                code=f"RX{i:06d}", mark="1472", drawing=self.drawing, place=self.rack,
                revision=self.drawing.revisions.get(), owner=self.world.shop,
            )
            for i in range(n)
        )  # fmt: skip
        StockLine.objects.bulk_create(
            StockLine(
                code=f"BX{i:06d}", drawing=drawings[i], place=self.rack, owner=self.world.shop
            )
            for i in range(n)
        )
        assert len(revisions) == len(places) == n
        self._grow_history(n)
        self._grow_sets(n, drawings, pieces)
        self._grow_shop(n)

    def _grow_history(self, n: int) -> None:
        piece, at = self.piece, self.world.at
        moments = [at - timedelta(hours=i + 1) for i in range(n)]
        times = [{"happened_at": m, "received_at": m, "effective_at": m} for m in moments]
        Movement.objects.bulk_create(
            Movement(piece=piece, to=self.rack, how="scan", **t) for t in times
        )
        Movement.objects.bulk_create(
            Movement(cart=self.cart, to=self.rack, how="scan", **t) for t in times
        )
        Movement.objects.bulk_create(
            Movement(stock=self.line, to=self.rack, what="receive", how="typed", **t) for t in times
        )
        RefusedScan.objects.bulk_create(
            RefusedScan(
                uuid=uuid.uuid4(),
                scan=uuid.uuid4(), code_read="X", how="scan",
                error_code="piece_held", message="held", piece=piece, **times[i],
            )
            for i in range(n)
        )  # fmt: skip
        Reading.objects.bulk_create(
            Reading(
                piece=piece, dimension="bore", value_nm=60 * MM, unit="mm",
                happened_at=m, received_at=m,
            )
            for m in moments
        )  # fmt: skip
        work = Work.objects.bulk_create(
            Work(piece=piece, kind="regrind", done_on=m.date(), received_at=m) for m in moments
        )
        WorkMeasure.objects.bulk_create(
            WorkMeasure(work=each, dimension="root_diameter", after_nm=MM) for each in work
        )
        LengthEntry.objects.bulk_create(
            LengthEntry(piece=piece, length_nm=1, happened_at=m, received_at=m) for m in moments
        )
        Change.objects.bulk_create(
            Change(at=m, subject="Piece", subject_key=piece.code, what="edited") for m in moments
        )
        LabelEvent.objects.bulk_create(
            LabelEvent(at=m, code=piece.code, what="print") for m in moments
        )
        PieceAlias.objects.bulk_create(PieceAlias(piece=piece, text=f"A{i}") for i in range(n))

    def _grow_sets(self, n: int, drawings: list[Drawing], pieces: list[Piece]) -> None:
        ToolSet.objects.bulk_create(
            ToolSet(code=f"TX{i:06d}", number=f"9{i}", name="x") for i in range(n)
        )
        passes = SetPass.objects.bulk_create(
            SetPass(tool_set=self.tool_set, number=i + 2) for i in range(n)
        )
        positions = SetPosition.objects.bulk_create(
            SetPosition(set_pass=passes[i], shaft="top", order=1, drawing=drawings[i])
            for i in range(n)
        )
        copies = SetCopy.objects.bulk_create(
            SetCopy(tool_set=self.tool_set, letter=f"{i}"[:4], home=self.rack) for i in range(n)
        )
        Allotment.objects.bulk_create(
            Allotment(copy=copies[i], position=positions[i], piece=self.piece) for i in range(n)
        )
        stations = self._grow_mills(n)
        ChartPass.objects.bulk_create(
            ChartPass(chart=self.chart, set_pass=passes[i], station=stations[i]) for i in range(n)
        )
        assert len(pieces) == n

    def _grow_mills(self, n: int) -> list[Station]:
        Mill.objects.bulk_create(
            Mill(number=f"X{i}", name="x", datum="shoulder", hand="left", operator_side="left")
            for i in range(n)
        )
        places = Place.objects.bulk_create(
            Place(code=f"PY{i:06d}", kind="station", name=f"Y{i}") for i in range(n)
        )
        stations = Station.objects.bulk_create(
            Station(code=f"MX{i:06d}", mill=self.mill, number=i + 3, place=places[i])
            for i in range(n)
        )
        MillShaft.objects.bulk_create(
            MillShaft(station=each, which="top", diameter_nm=60 * MM, roll_space_nm=MM)
            for each in stations
        )
        return stations

    def _grow_shop(self, n: int) -> None:
        for i in range(min(n, 3)):
            make_person(f"p{i}", Role.CREW, Role.VIEWER)
        Owner.objects.bulk_create(Owner(code=f"O{i}", name=f"O{i}") for i in range(n))
        Gauge.objects.bulk_create(Gauge(number=f"G{i}", name="x") for i in range(n))


PAGES: dict[str, Callable[[Crowd], object]] = {
    "piece search by text": lambda c: search_pieces(Filters(text="1472")),
    "piece search by size": lambda c: search_pieces(Filters(text="bore 60")),
    "pieces by code": lambda c: search_pieces(Filters()),
    "piece page": lambda c: piece_page(c.piece.code),
    "piece history": lambda c: piece_history(c.piece.code),
    "place list": lambda c: top_places(),
    "place page": lambda c: place_page(c.rack.code),
    "place news": lambda c: place_news(c.cart.code),
    "stock list": lambda c: stock_list(),
    "stock news": lambda c: stock_news(c.line.code),
    "bin by hand": lambda c: hand(c.line.code, person=c.person),
    "make or buy": lambda c: stock_needs(at=c.world.at),
    "mill list": lambda c: mill_list(),
    "mill page": lambda c: mill_page("M1"),
    "set list": lambda c: set_list(),
    "set page": lambda c: set_page("1472"),
    "chart page": lambda c: chart_page(c.chart.pk),
    "drawing list": lambda c: drawing_list(),
    "drawing page": lambda c: drawing_page("1472-01-T1"),
    "shop page": lambda c: shop_page(),
    "people list": lambda c: people_list(),
    "gauge list": lambda c: gauge_list(),
    "settings page": lambda c: settings_page(),
    "what a device knows": lambda c: known("x"),
    "whether a device knows": lambda c: known_version(),
}


@pytest.mark.parametrize("rows", [0, 1, 250])
def test_a_page_asks_no_more_queries_when_there_is_more_to_show(
    rows: int, world: World, request: pytest.FixtureRequest
) -> None:
    crowd = Crowd(world)
    crowd.grow(rows)
    asked = {}
    for name, read in PAGES.items():
        with CaptureQueriesContext(connection) as captured:
            read(crowd)
        asked[name] = len(captured)
    beyond = {name: (n, COUNTS[name]) for name, n in asked.items() if n > COUNTS[name]}
    assert beyond == {}
    if rows:
        assert {name: asked[name] for name in PAGES} == {name: COUNTS[name] for name in PAGES}


def test_a_history_of_hundreds_is_paged_whole_newest_first_without_doubles(world: World) -> None:
    crowd = Crowd(world)
    crowd.grow(40)
    seen, after, pages = [], "", 0
    while True:
        page = piece_history(crowd.piece.code, after=after, size=30)
        seen += page.entries
        pages += 1
        if not page.after:
            break
        after = page.after
    # 40 each of movement, refused scan, reading, work, length, change, label; 1 first movement
    assert len(seen) == 7 * 40 + 1
    assert len({(entry.kind, entry.id) for entry in seen}) == len(seen)
    assert [entry.at for entry in seen] == sorted((e.at for e in seen), reverse=True)
    assert pages == 10


@pytest.mark.parametrize(
    "after", ["nonsense", "2026-13-45T00:00~1~1", "~~", "2026-01-01T00:00~a~b"]
)
def test_a_key_that_makes_no_sense_begins_at_the_newest(after: str, world: World) -> None:
    crowd = Crowd(world)
    assert piece_history(crowd.piece.code, after=after) == piece_history(crowd.piece.code)


def test_an_edit_is_told_in_the_unit_of_the_piece(world: World) -> None:
    crowd = Crowd(world)
    Piece.objects.filter(pk=crowd.piece.pk).update(unit="in")
    Change.objects.create(
        at=world.at,
        subject="Piece",
        subject_key=crowd.piece.code,
        what="edited",
        before={"made_bore_nm": None, "mark": "A"},
        after={"made_bore_nm": 63_500_000, "mark": "B"},
    )
    said = piece_history(crowd.piece.code).entries[0].said
    assert said == "edited: made bore: – → 2.500 in; mark: A → B"
