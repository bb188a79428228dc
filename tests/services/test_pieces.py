"""Pieces: made with codes and a first movement, edited with a change row, held and let go."""

from __future__ import annotations

import pytest

from tests.world import MM, World
from tooling.engineering import codes
from tooling.errors import NotAllowed, ToolingError
from tooling.models import (
    Change,
    DrawingRevision,
    Kit,
    KitPosition,
    Movement,
    Person,
    Piece,
    PieceAlias,
    Place,
)
from tooling.services import holds, pieces


@pytest.fixture
def rack(world: World) -> Place:
    return world.place("Rack A")


@pytest.fixture
def revision(world: World) -> DrawingRevision:
    drawing = world.drawing(
        "1472-01-T1", bore_nm=60 * MM, root_diameter_nm=140 * MM, outside_diameter_nm=150 * MM
    )
    return drawing.revisions.select_related("drawing").get()


def make(world: World, by: Person, revision: DrawingRevision, rack: Place, **fields: object):  # type: ignore[no-untyped-def]
    values = {"owner": world.shop, "place": rack, "mark": "1472-01-T1", **fields}
    return pieces.create_pieces(by=by, at=world.at, revision=revision, **values)


def test_n_pieces_get_n_codes_and_one_movement_each(
    world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    made = make(world, engineer, revision, rack, count=3)
    assert len({piece.code for piece in made}) == 3
    assert all(codes.read_code(piece.code).kind == "R" for piece in made)
    assert [row.to for row in Movement.objects.filter(piece__in=made)] == [rack] * 3
    assert Change.objects.filter(subject="Piece", what="created", by=engineer).count() == 3
    assert all(piece.place == rack and piece.seen_at == world.at for piece in made)


def test_a_piece_from_paper_is_not_yet_seen(
    world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    assert make(world, engineer, revision, rack, seen=False)[0].seen_at is None


@pytest.mark.parametrize("count", [0, -1, 501])
def test_no_pieces_or_too_many_at_once_are_refused(
    count: int, world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    with pytest.raises(ToolingError, match="absurd_count"):
        make(world, engineer, revision, rack, count=count)
    assert not Piece.objects.exists()


@pytest.mark.parametrize(
    ("sizes", "code"),
    [
        ({"made_bore_nm": 150 * MM}, "bore_too_large"),
        ({"made_bore_nm": -1}, "not_positive"),
        ({"made_root_diameter_nm": 151 * MM}, "root_above_outside"),
    ],
)
def test_sizes_as_made_are_held_against_the_drawing(
    sizes: dict[str, int], code: str, world: World, engineer: Person,
    revision: DrawingRevision, rack: Place,
) -> None:  # fmt: skip
    with pytest.raises(ToolingError, match=code):
        make(world, engineer, revision, rack, **sizes)


def test_an_edit_leaves_before_and_after(
    world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    piece = make(world, engineer, revision, rack)[0]
    pieces.edit_piece(by=engineer, at=world.at, piece=piece, mark="1472-01-T1B", reason="restamped")
    change = Change.objects.get(subject="Piece", what="edited")
    assert (change.before, change.after) == ({"mark": "1472-01-T1"}, {"mark": "1472-01-T1B"})
    assert change.reason == "restamped"


@pytest.mark.parametrize("name", ["place", "now_bore_nm", "length_run_nm", "code", "seen_at"])
def test_what_history_says_cannot_be_edited(
    name: str, world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    piece = make(world, engineer, revision, rack)[0]
    with pytest.raises(TypeError):
        pieces.edit_piece(by=engineer, at=world.at, piece=piece, **{name: None})


def test_a_piece_is_not_said_to_be_made_to_another_drawing(
    world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    piece = make(world, engineer, revision, rack)[0]
    other = world.drawing("9").revisions.get()
    with pytest.raises(ToolingError, match="other_drawing"):
        pieces.edit_piece(by=engineer, at=world.at, piece=piece, revision=other)


def test_a_hold_is_not_slipped_off_by_an_edit(
    world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    piece = make(world, engineer, revision, rack)[0]
    held = holds.hold_piece(by=engineer, at=world.at, piece=piece, reason="cracked?")
    with pytest.raises(ToolingError, match="hold_has_its_own_way"):
        pieces.edit_piece(by=engineer, at=world.at, piece=held, condition="sound")
    assert pieces.edit_piece(by=engineer, at=world.at, piece=held, note="x").condition == "hold"


def test_an_old_number_is_kept_once_and_can_be_taken_away(
    world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    piece = make(world, engineer, revision, rack)[0]
    alias = pieces.add_alias(by=engineer, at=world.at, piece=piece, text="R-0417")
    with pytest.raises(ToolingError, match="already_there"):
        pieces.add_alias(by=engineer, at=world.at, piece=piece, text="r-0417")
    pieces.remove_alias(by=engineer, at=world.at, alias=alias)
    assert not PieceAlias.objects.exists()
    removed = Change.objects.get(subject="PieceAlias", what="removed")
    assert (removed.subject_key, removed.before) == (piece.code, {"text": "R-0417"})


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_pieces_are_made_by_engineers_and_supervisors(
    role: str, world: World, cast: dict[str, Person], revision: DrawingRevision, rack: Place
) -> None:
    with pytest.raises(NotAllowed):
        make(world, cast[role], revision, rack)


def test_a_place_given_up_takes_no_new_pieces(
    world: World, engineer: Person, revision: DrawingRevision
) -> None:
    gone = world.place("Old rack", is_active=False)
    with pytest.raises(ToolingError, match="place_not_used"):
        make(world, engineer, revision, gone)


def test_open_kits_that_claim_a_piece_hear_of_its_hold(
    world: World, engineer: Person, revision: DrawingRevision, rack: Place
) -> None:
    piece = make(world, engineer, revision, rack)[0]
    tool_set = world.tool_set("1472", {(1, "top", 1): revision.drawing})
    kit = Kit.objects.create(number="K0000001", job=world.job(tool_set, world.mill()))
    KitPosition.objects.create(
        kit=kit, set_position=tool_set.passes.get().positions.get(), station_number=1,
        pass_number=1, shaft="top", order=1, drawing=revision.drawing, piece=piece,
    )  # fmt: skip
    holds.hold_piece(by=engineer, at=world.at, piece=piece, reason="chip")
    kit.refresh_from_db()
    assert kit.version > 1
