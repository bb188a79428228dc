"""A set from paper becomes pieces at its first handling; until then nobody has seen them."""

from __future__ import annotations

import pytest

from tests.services.scanning import put
from tooling.errors import ToolingError
from tooling.models import Allotment, Change, Kit, KitPosition, LabelEvent, Movement, Piece
from tooling.services.paper_sets import unfold
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture
def home(world):
    return world.place("Cart 7", kind="cart")


@pytest.fixture
def tool_set(world):
    roll, spacer = world.drawing("R-1"), world.drawing("SP-1", kind="spacer")
    return world.tool_set(
        "S1", {(1, "top", 1): roll, (1, "top", 2): spacer, (2, "bottom", 1): roll}
    )


@pytest.fixture
def copy(world, tool_set, home):
    return world.copy(tool_set, "A", home=home, from_paper_count=48)


def test_every_position_gets_a_piece_where_the_paper_says(copy, home, attendant, at) -> None:
    made = unfold(by=attendant, at=at, copy=copy)
    assert [piece.code[0] for piece in made] == ["R", "S", "R"]
    assert {(piece.place, piece.seen_at) for piece in made} == {(home, None)}
    assert Allotment.objects.filter(copy=copy).count() == 3
    assert differences() == []


def test_no_label_was_printed_for_them(copy, attendant, at) -> None:
    unfold(by=attendant, at=at, copy=copy)
    assert not LabelEvent.objects.exists()


def test_the_one_that_was_handled_is_seen(world, copy, attendant, at) -> None:
    bench = world.place("Bench")
    position = copy.tool_set.passes.get(number=2).positions.get()
    unfold(by=attendant, at=at, copy=copy, handled=position, to=bench)
    seen = Piece.objects.exclude(seen_at=None)
    assert [piece.place for piece in seen] == [bench]
    assert seen[0].allotments.get().position == position


def test_the_paper_count_is_kept_in_history(copy, attendant, at) -> None:
    unfold(by=attendant, at=at, copy=copy)
    copy.refresh_from_db()
    assert copy.from_paper_count is None
    change = Change.objects.get(subject="SetCopy", what="unfolded")
    assert (change.before, change.after) == ({"from_paper_count": 48}, {"pieces": 3})


def test_scanning_the_set_moves_all_and_sees_none(world, tool_set, copy, attendant, at) -> None:
    rack = world.place("Rack A")
    result = put(attendant, at, tool_set.code, rack.code)
    assert result.message == "3 pieces of S1-A are in Rack A."
    assert set(Piece.objects.values_list("place__name", "seen_at")) == {("Rack A", None)}
    assert not Movement.objects.filter(sees=True).exists()


def test_an_open_kit_claims_the_pieces(world, tool_set, copy, attendant, at) -> None:
    job = world.job(tool_set, world.mill(stations=2))
    kit = Kit.objects.create(number=world.code("K"), job=job, copy=copy)
    for n, position in enumerate(tool_set.passes.get(number=1).positions.all(), start=1):
        KitPosition.objects.create(
            kit=kit, set_position=position, station_number=1, pass_number=1, shaft="top", order=n,
            drawing=position.drawing,
        )  # fmt: skip
    unfold(by=attendant, at=at, copy=copy)
    claimed = KitPosition.objects.select_related("piece__drawing")
    assert all(each.piece and each.piece.drawing == each.drawing for each in claimed)
    assert Kit.objects.get().version > kit.version


def test_a_set_known_piece_by_piece_is_not_unfolded_again(copy, attendant, at) -> None:
    unfold(by=attendant, at=at, copy=copy)
    with pytest.raises(ToolingError) as error:
        unfold(by=attendant, at=at, copy=copy)
    assert error.value.code == "not_from_paper"
    assert Piece.objects.count() == 3


def test_a_set_without_positions_says_what_to_enter(world, attendant, at) -> None:
    bare = world.copy(world.tool_set("S2", {}), "A", from_paper_count=12)
    with pytest.raises(ToolingError) as error:
        unfold(by=attendant, at=at, copy=bare)
    assert error.value.code == "set_has_no_positions"
    assert "12 pieces" in error.value.message
