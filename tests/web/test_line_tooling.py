"""Line tooling and hardware are parts of the set and the kit, beside the shafts and not on them."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from tests.rolling import Rolling
from tests.world import MM, World
from tooling.errors import ToolingError
from tooling.models import Kit, KitPosition, Person, Piece, SetPosition
from tooling.queries.kits import kit_page
from tooling.queries.mill_fit import fit_page
from tooling.queries.pull_list import pull_list
from tooling.services import charts, kits, sets
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]


class Line(Rolling):
    """The rolling shop with a pre-punch before its first pass, nuts from a bin, and a blade in a
    pass of its own after the last."""

    def __init__(self, world: World, engineer: Person) -> None:
        super().__init__(world)
        self.die = world.drawing("PP-01", kind="line_tooling")
        self.nut = world.drawing("NUT-60", kind="hardware")
        self.blade = world.drawing("CB-01", kind="line_tooling")
        way = {"by": engineer, "at": world.at}
        first = self.set.passes.get(number=1)
        last = sets.save_pass(**way, tool_set=self.set, number=3, name="cut-off")
        sets.save_position(
            **way, set_pass=first, shaft="line", order=1, drawing=self.die, where="pre-punch press"
        )
        sets.save_position(**way, set_pass=first, shaft="line", order=2, drawing=self.nut)
        sets.save_position(
            **way, set_pass=last, shaft="line", order=1, drawing=self.blade, where="cut-off press"
        )
        self.tools = [world.piece(each, self.rack, mark=each.number)
                      for each in (self.die, self.blade)]  # fmt: skip
        for spot, piece in zip(((1, 1), (3, 1)), self.tools, strict=True):
            self.copy.allotments.create(
                piece=piece,
                position=SetPosition.objects.get(
                    set_pass__tool_set=self.set, set_pass__number=spot[0], shaft="line",
                    order=spot[1],
                ),
            )  # fmt: skip
        self.nuts = world.stock(self.nut, self.rack, 4)


@pytest.fixture
def shop(world: World, engineer: Person) -> Line:
    return Line(world, engineer)


def test_the_line_comes_last_in_the_kit_and_takes_no_station(shop: Line, crew: Person) -> None:
    page = kit_page(shop.kit(crew).number, at=shop.world.at)
    assert [(v.pass_number, v.order, v.drawing, v.where) for v in page.line] == [
        (1, 1, "PP-01", "pre-punch press"), (1, 2, "NUT-60", ""), (3, 1, "CB-01", "cut-off press"),
    ]  # fmt: skip
    assert page.positions[-3:] == page.line
    assert [s.number for s in page.stations if not s.is_idle] == [1, 2]
    assert max(s.number for s in page.stations) == 4
    assert {v.state for v in page.line} == {"to_fetch"}


def test_a_pass_of_line_tooling_needs_no_station_and_shifts_none(
    shop: Line, world: World, engineer: Person, crew: Person
) -> None:
    other = world.tool_set(
        "S2", {(1, "line", 1): shop.die, (2, "top", 1): shop.drawings[1, "top", 1]}
    )
    mill = world.mill("M2", stations=1)
    chart = charts.create_chart(by=engineer, at=world.at, tool_set=other, mill=mill)
    placed = chart.chart_passes.values_list("set_pass__number", "station__number")
    assert list(placed) == [(2, 1)]
    chart.delete()
    kit = kits.open_kit(by=crew, at=world.at, job=world.job(other, mill))
    rows = KitPosition.objects.filter(kit=kit).values_list("shaft", "station_number")
    assert sorted(rows) == [("line", 2), ("top", 1)]


def test_the_fit_to_a_mill_does_not_ask_for_what_stands_on_the_line(
    shop: Line, world: World, engineer: Person
) -> None:
    before = len(fit_page(shop.set.number, shop.mill.number, unit="mm").lines)
    box = world.drawing("BOX", kind="hardware", bore_nm=MM, outside_diameter_nm=5_000 * MM)
    sets.save_position(
        by=engineer, at=world.at, set_pass=shop.set.passes.get(number=2), shaft="line", order=1,
        drawing=box,
    )  # fmt: skip
    assert len(fit_page(shop.set.number, shop.mill.number, unit="mm").lines) == before


def test_line_tooling_is_pulled_staged_and_pegged_like_the_rest(shop: Line, crew: Person) -> None:
    at, kit = shop.world.at, shop.kit(crew)
    lines = [line for stop in pull_list(kit.number, at=at).stops for line in stop.lines]
    said = {line.drawing: line.where for line in lines}
    assert said["PP-01"] == "on the line, pass 1, no. 1, pre-punch press"
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    move_pieces(by=crew, at=at, pieces=shop.tools, to=shop.cart)
    assert [v.state for v in kit_page(kit.number, at=at).line] == ["here", "to_fetch", "here"]


def test_the_ribbon_stays_and_the_list_has_the_same_pieces_in_the_same_order(
    log_in: LogIn, shop: Line, crew: Person
) -> None:
    kit = shop.kit(crew)
    page = log_in(crew).get(f"/kits/{kit.number}/").content.decode()
    spot = r'data-station="(\d+)" data-shaft="(\w+)" data-order="(\d+)"'
    drawn = re.findall(rf'<g class="piece[^"]*"[^>]*?{spot}', page)
    listed = re.findall(rf'<tr role="row" data-code[^>]*?{spot}', page)
    assert (len(drawn), drawn) == (7, listed)
    ribbon = page[page.index('id="ribbon"') : page.index('id="on-the-line"')]
    assert 'data-shaft="line"' not in ribbon
    assert page.index('id="on-the-line"') < page.index('id="kit-list"')


def test_what_stands_on_the_line_has_a_page_of_its_pass(
    log_in: LogIn, shop: Line, crew: Person
) -> None:
    kit: Kit = shop.kit(crew)
    client = log_in(crew)
    page = client.get(f"/kits/{kit.number}/stations/1/line/").content.decode()
    assert "On the line, pass 1" in page
    assert page.count('<li id="p-') == 2
    assert "mark faces" not in page
    blade = kit.positions.get(drawing=shop.blade)
    assert (
        client.get(f"/kits/{kit.number}/stations/{blade.station_number}/line/").status_code == 200
    )
    assert client.get(f"/kits/{kit.number}/stations/2/line/").status_code == 404


@pytest.mark.parametrize(
    ("shaft", "kind", "code"),
    [
        ("line", "roll", "not_for_the_line"),
        ("line", "spacer", "not_for_the_line"),
        ("top", "line_tooling", "only_on_the_line"),
        ("front", "roll", "unknown_shaft"),
    ],
)
def test_a_kind_in_the_wrong_place_is_refused_by_page_and_api(
    shaft: str, kind: str, code: str, api_as: Any, shop: Line, world: World, engineer: Person
) -> None:
    drawing = world.drawing("X-1", kind=kind)
    with pytest.raises(ToolingError, match=code):
        sets.save_position(
            by=engineer, at=world.at, set_pass=shop.set.passes.get(number=1), shaft=shaft,
            order=9, drawing=drawing,
        )  # fmt: skip
    body = {"number": 1, "shaft": shaft, "order": 9, "drawing": "X-1"}
    got = api_as(engineer).post("/api/v1/sets/S/positions/", body, format="json")
    assert got.json()["code"] == (code if shaft != "front" else "invalid")
    assert not SetPosition.objects.filter(order=9).exists()


def test_the_set_shows_and_takes_line_positions(
    log_in: LogIn, api_as: Any, shop: Line, engineer: Person
) -> None:
    client = log_in(engineer)
    page = client.get("/sets/S/").content.decode()
    assert "pre-punch press" in page
    form = {
        "set_pass": "2", "shaft": "line", "order": "1", "drawing": "NUT-60",
        "where": "behind the last stand", "mark_faces": "outboard",
    }  # fmt: skip
    client.post("/sets/S/position/", form)
    said = api_as(engineer).get("/api/v1/sets/S/").json()
    there = [p for each in said["passes"] for p in each["positions"] if p["shaft"] == "line"]
    assert [(p["drawing"], p["where"]) for p in there][2] == ("NUT-60", "behind the last stand")


def test_the_api_tells_the_line_with_where_it_stands(api_as: Any, shop: Line, crew: Person) -> None:
    kit = shop.kit(crew)
    body = api_as(crew).get(f"/api/v1/kits/{kit.number}/").json()
    last = body["positions"][-1]
    assert (last["shaft"], last["pass"], last["where"], last["piece"]) == (
        "line", 3, "cut-off press", Piece.objects.get(mark="CB-01").code,
    )  # fmt: skip
