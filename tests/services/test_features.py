"""What a die makes in the strip is listed on its drawing, in sizes that can be."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, DrawingFeature, DrawingRevision, Person
from tooling.services import drawings, features


@pytest.fixture
def die(world: World) -> DrawingRevision:
    return world.drawing("PP-01", kind="line_tooling").revisions.get()


def save(by: Person, at: datetime, die: DrawingRevision, **fields: Any) -> DrawingFeature:
    return features.save_feature(by=by, at=at, revision=die, **fields)


def test_features_are_numbered_as_they_come_changed_and_taken_away(
    engineer: Person, at: datetime, die: DrawingRevision
) -> None:
    hole = save(engineer, at, die, shape="round", name="fixing hole", width_nm=11 * MM)
    slot = save(engineer, at, die, shape="slot", width_nm=9 * MM, length_nm=22 * MM)
    assert (hole.order, slot.order) == (1, 2)
    changed = save(engineer, at, die, order=2, shape="slot", width_nm=9 * MM, length_nm=25 * MM)
    assert (changed.pk, changed.length_nm) == (slot.pk, 25 * MM)
    features.remove_feature(by=engineer, at=at, revision=die, order=1)
    assert [row.order for row in die.features.all()] == [2]
    whats = Change.objects.filter(subject="DrawingFeature").order_by("pk")
    assert [row.what for row in whats] == ["created", "created", "edited", "removed"]


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"shape": "star"}, "unknown_shape"),
        ({"shape": "round", "width_nm": 0}, "not_positive"),
        ({"shape": "notch", "length_nm": -1}, "not_positive"),
        ({"shape": "round", "width_nm": MM, "length_nm": MM}, "round_has_one_size"),
        ({"shape": "slot", "width_nm": 22 * MM, "length_nm": 9 * MM}, "longer_way_first"),
        ({"shape": "cut", "order": 0}, "absurd_count"),
        ({"shape": "cut", "order": 100}, "absurd_count"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_kept(
    fields: dict[str, Any], code: str, engineer: Person, at: datetime, die: DrawingRevision
) -> None:
    with pytest.raises(ToolingError, match=code):
        save(engineer, at, die, **fields)
    assert not DrawingFeature.objects.exists()


def test_a_roll_makes_no_holes_and_an_attendant_edits_no_drawing(
    engineer: Person, attendant: Person, at: datetime, world: World, die: DrawingRevision
) -> None:
    roll = world.drawing("R-1").revisions.get()
    with pytest.raises(ToolingError, match="makes_no_features"):
        save(engineer, at, roll, shape="round", width_nm=MM)
    with pytest.raises(NotAllowed):
        save(attendant, at, die, shape="round", width_nm=MM)


def test_a_new_revision_makes_what_the_one_before_made(
    engineer: Person, at: datetime, die: DrawingRevision
) -> None:
    save(engineer, at, die, shape="slot", width_nm=9 * MM, length_nm=22 * MM, note="burr down")
    newest = drawings.new_revision(
        by=engineer, at=at, drawing=die.drawing, revision="B", old_pieces="as_is"
    )
    copied = newest.features.get()
    assert (copied.shape, copied.length_nm, copied.note) == ("slot", 22 * MM, "burr down")
    assert die.features.count() == 1
