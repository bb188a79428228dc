"""Marks with letters beyond A to Z are found however typed; SQLite's capitals are A to Z."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.world import World
from tooling.models import Drawing, PieceAlias
from tooling.queries.by_code import drawing_of
from tooling.queries.drawings import drawing_list
from tooling.queries.find import find_drawing, find_piece
from tooling.queries.pieces import Filters, find_exactly, search_pieces
from tooling.queries.prefixes import capitals
from tooling.queries.scan_lookup import look_up

MARKS = ("rü-1", "RÜ-1", "Rü-1", "straße 4", "süß 2", "ñandú", "plain-7b")


@pytest.mark.django_db
@pytest.mark.parametrize("mark", MARKS)
@pytest.mark.parametrize("typed", [str, str.lower, str.upper])
def test_a_mark_an_old_number_and_a_drawing_are_found_in_any_case(
    world: World, mark: str, typed: Callable[[str], str]
) -> None:
    text = typed(mark)
    if len(text) != len(mark) and typed is str.upper:
        text = mark  # “STRASSE” is another word than “Straße” to a database
    drawing, rack = world.drawing(mark), world.place("Rack")
    piece, other = world.piece(drawing, rack, mark=mark), world.piece(drawing, rack, mark="other")
    PieceAlias.objects.create(piece=other, text=f"old {mark}")
    assert find_piece(text) == piece
    assert find_exactly(text) == piece.code
    assert look_up([text], []).subject(text) == piece.pk
    assert look_up([f"old {text}"], []).subject(f"old {text}") == other.pk
    assert find_exactly(f"old {text}") == other.code
    assert piece.code in {row.code for row in search_pieces(Filters(text=text[:-1])).rows}
    assert find_drawing(text) == drawing_of(text) == Drawing.objects.get(pk=drawing.pk)
    assert [row.number for row in drawing_list(text=text[:-1]).rows] == [mark]


def test_plain_letters_have_one_form() -> None:
    assert capitals("r-12b") == {"R-12B"}
    assert capitals("") == {""}
