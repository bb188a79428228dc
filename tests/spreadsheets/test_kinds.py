"""The kinds of sheet agree with what is kept, and read the demo shop's own sheets whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from tooling import models
from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import read_rows
from tooling.spreadsheets.suggest import suggest_kind, suggest_mapping, unmatched

DEMO = Path(__file__).parents[2] / "fixtures" / "demo"
DEMO_SHEETS = sorted(DEMO.glob("*.csv"))


@pytest.mark.parametrize(
    ("kind", "field", "kept"),
    [
        ("places", "kind", models.PlaceKind),
        ("mills", "datum", models.Datum),
        ("mills", "hand", models.Hand),
        ("mills", "closing", models.Closing),
        ("mills", "key_style", models.KeyStyle),
        ("mills", "drive", models.Drive),
        ("drawings", "kind", models.DrawingKind),
        ("drawings", "old_pieces", models.OldPieces),
        ("pieces", "condition", models.Condition),
        ("pieces", "mark_place", models.MarkPlace),
        ("stock", "condition", models.Condition),
        ("sets", "shaft", models.Shaft),
        ("regrinds", "kind", models.WorkKind),
    ],
)
def test_a_sheet_offers_the_choices_that_are_kept(kind: str, field: str, kept: type) -> None:
    assert set(KINDS[kind].field(field).choices) == set(kept.values)  # type: ignore[attr-defined]


@pytest.mark.parametrize("prefix", ["made_", "now_"])
def test_a_piece_has_every_dimension_that_is_kept(prefix: str) -> None:
    kept = {f.name for f in models.Piece._meta.get_fields() if f.name.startswith(prefix)}
    offered = {name + "_nm" for name in KINDS["pieces"].by_name if name.startswith(prefix)}
    assert offered == kept


def test_a_drawing_has_every_length_that_is_kept() -> None:
    kept = {f.name for f in models.DrawingRevision._meta.get_fields() if f.name.endswith("_nm")}
    lengths = {f.name + "_nm" for f in KINDS["drawings"].fields if f.type is FieldType.LENGTH}
    assert lengths == kept


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_no_two_fields_of_a_kind_have_the_same_label(kind: Kind) -> None:
    labels = [field.label.casefold() for field in kind.fields]
    assert len(set(labels)) == len(labels)


def test_a_kind_that_names_a_field_it_has_not_is_refused() -> None:
    with pytest.raises(ValueError):
        Kind("odd", "Odd", (Field("a", "A"),), keys=(("b",),))


def test_a_kind_that_names_a_field_twice_is_refused() -> None:
    with pytest.raises(ValueError):
        Kind("odd", "Odd", (Field("a", "A"), Field("a", "B")), keys=(("a",),))


@pytest.mark.parametrize("path", DEMO_SHEETS, ids=lambda path: path.stem)
def test_a_sheet_of_the_demo_shop_is_read_whole(path: Path) -> None:
    (sheet,) = read_sheets(path.read_bytes(), name=path.name)
    kind = suggest_kind(sheet)
    assert kind is not None
    mapping = suggest_mapping(sheet, kind)
    rows, problems = read_rows(sheet, mapping)
    assert unmatched(sheet, mapping) == []
    assert problems == []
    assert rows


def test_the_demo_shop_brings_sheets() -> None:
    assert len(DEMO_SHEETS) >= 10
