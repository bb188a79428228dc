"""Sizes that cannot be are refused; sizes that practice would question need a reason.

A question is a ToolingError whose values hold ``asks="reason"``: the door shows a field for it,
and the same call with a reason goes through and is on record.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.keys import standard_of_key
from tooling.engineering.lengths import Unit, say_length
from tooling.engineering.walls import wall_at_key_corner
from tooling.errors import ToolingError
from tooling.models import DIMENSIONS, DrawingKind, DrawingRevision, Piece
from tooling.queries.settings import setting_value

WORDS: Mapping[str, Any] = {
    "bore": _("Bore"),
    "keyway_width": _("Keyway width"),
    "keyway_depth": _("Keyway depth"),
    "face_width": _("Face width"),
    "guide_offset": _("Guide offset"),
    "drive_diameter": _("Drive diameter"),
    "root_diameter": _("Root diameter"),
    "outside_diameter": _("Outside diameter"),
}
LEAST_KNOWN = ("drive_diameter", "root_diameter", "outside_diameter", "face_width")
KEYED = (DrawingKind.ROLL, DrawingKind.SPACER, DrawingKind.SLEEVE)
Sizes = Mapping[str, int | None]


def dimension_words(dimension: str) -> Any:
    """The dimension as a page says it."""
    return WORDS[dimension]


def check_revision(*, kind: str, values: Mapping[str, Any], reason: str = "") -> None:
    """Refuse drawn sizes that cannot be; question a thin wall unless there is a reason.

    ``values`` has ``unit`` and ``…_nm``. Raises ``not_positive``, ``bore_too_large``,
    ``root_above_outside``, ``keyway_too_wide``, ``no_wall``, ``least_above_drawn``, and as
    questions ``thin_wall`` and ``key_off_table``.
    """
    unit: Unit = "in" if values.get("unit") == "in" else "mm"
    sizes = {name: values.get(f"{name}_nm") for name in DIMENSIONS}
    _check_sizes(sizes, unit)
    for name in LEAST_KNOWN:
        least, drawn = values.get(f"least_{name}_nm"), sizes[name]
        if least is not None and drawn is not None and least > drawn:
            raise ToolingError(
                "least_above_drawn",
                _("{dimension}: the least allowed, {least}, is above the drawn {drawn}."),
                dimension=WORDS[name],
                least=say_length(least, unit),
                drawn=say_length(drawn, unit),
                in_field=f"least_{name}_nm",
            )
    if kind in KEYED and not reason.strip():
        _question_key(sizes, unit)
        _question_wall(sizes, unit)


def check_piece(*, revision: DrawingRevision, values: Mapping[str, Any], reason: str = "") -> None:
    """The same of a piece: each size is as made or now, and as drawn where neither is known."""
    unit: Unit = "in" if revision.unit == "in" else "mm"
    made = {name: values.get(f"made_{name}_nm") for name in DIMENSIONS}
    if not any(size is not None for size in made.values()):
        return
    sizes = {
        name: made[name] if made[name] is not None else getattr(revision, f"{name}_nm")
        for name in DIMENSIONS
    }
    _check_sizes(sizes, unit, prefix="made_")
    if revision.drawing.kind in KEYED and not reason.strip():
        _question_wall(sizes, unit)


def check_present_sizes(*, piece_id: int) -> None:
    """Refuse what readings or work would make of a piece. Call inside their write, after
    ``derived.refresh_sizes``: the refusal takes them back. Raises as `check_revision`."""
    check_known_sizes(Piece.objects.select_related("revision").get(pk=piece_id))


def check_known_sizes(piece: Piece) -> None:
    """Refuse a piece whose known sizes cannot be together. Raises as `check_revision`."""
    unit: Unit = "in" if piece.unit == "in" else "mm"
    sizes = {name: known_size(piece, name) for name in DIMENSIONS}
    _check_sizes(sizes, unit, wall_from=_as_cut(piece, sizes))


def _as_cut(piece: Piece, sizes: Sizes) -> Sizes:
    """For the wall: the bore as it was when the keyway was cut, unless both were measured. A
    bore that wears does not move the bottom of the keyseat."""
    if piece.now_bore_nm is None or piece.now_keyway_depth_nm is not None:
        return sizes
    made = piece.made_bore_nm
    return {**sizes, "bore": made if made is not None else piece.revision.bore_nm}


def known_size(piece: Piece, dimension: str) -> int | None:
    """What a piece measures as far as is known: measured, else as made, else as drawn."""
    for holder, prefix in ((piece, "now_"), (piece, "made_"), (piece.revision, "")):
        value: int | None = getattr(holder, f"{prefix}{dimension}_nm")
        if value is not None:
            return value
    return None


def _check_sizes(
    sizes: Sizes, unit: Unit, prefix: str = "", wall_from: Sizes | None = None
) -> None:
    for name, size in sizes.items():
        if size is not None and size <= 0 and name != "guide_offset":
            raise ToolingError(
                "not_positive",
                _("{dimension} must be above nothing."),
                dimension=WORDS[name],
                in_field=f"{prefix}{name}_nm",
            )
    for name in ("root_diameter", "drive_diameter", "outside_diameter"):
        _refuse_larger(sizes, "bore", name, "bore_too_large", unit, prefix)
    _refuse_larger(sizes, "root_diameter", "outside_diameter", "root_above_outside", unit, prefix)
    _refuse_larger(sizes, "keyway_width", "bore", "keyway_too_wide", unit, prefix)
    wall = wall_nm(wall_from or sizes)
    if wall is not None and wall <= 0:
        raise ToolingError(
            "no_wall",
            _("The keyway breaks through: the wall at the key corner comes out at {wall}. Check "
              "bore, keyway and diameter."),
            wall=say_length(wall, unit),
            in_field=f"{prefix}keyway_depth_nm",
        )  # fmt: skip


def _refuse_larger(
    sizes: Sizes, inner: str, outer: str, code: str, unit: Unit, prefix: str
) -> None:
    small, large = sizes[inner], sizes[outer]
    if small is None or large is None or small < large:
        return
    if small == large and inner == "root_diameter":
        return
    raise ToolingError(
        code,
        _("{inner} {small} does not go with {outer} {large}: it must be smaller. Check both "
          "numbers and their units."),
        inner=WORDS[inner],
        small=say_length(small, unit),
        outer=WORDS[outer],
        large=say_length(large, unit),
        in_field=f"{prefix}{inner}_nm",
    )  # fmt: skip


def wall_nm(sizes: Sizes) -> int | None:
    """The wall at the key corner, to the root where one is known; None where sizes are missing."""
    bore, width, depth = sizes["bore"], sizes["keyway_width"], sizes["keyway_depth"]
    across = sizes["root_diameter"] or sizes["outside_diameter"]
    if bore is None or width is None or depth is None or across is None:
        return None
    return wall_at_key_corner(across, bore, depth, width).corner_nm


def _question_wall(sizes: Sizes, unit: Unit) -> None:
    wall = wall_nm(sizes)
    least = int(setting_value("wall_at_key_corner_warn", unit=unit))
    if wall is not None and wall < least:
        raise ToolingError(
            "thin_wall",
            _("The wall at the key corner is {wall}; this shop likes {least} or more. Check the "
              "sizes; if they are right, say why and save again."),
            wall=say_length(wall, unit),
            least=say_length(least, unit),
            in_field="reason",
            asks="reason",
        )  # fmt: skip


def _question_key(sizes: Sizes, unit: Unit) -> None:
    bore, width = sizes["bore"], sizes["keyway_width"]
    if bore is None or width is None or standard_of_key(bore, width) is not None:
        return
    raise ToolingError(
        "key_off_table",
        _("A keyway {width} wide is in neither key table (ANSI B17.1, DIN 6885-1) for a shaft of "
          "{bore}. Check it; if it is right, say why and save again."),
        width=say_length(width, unit),
        bore=say_length(bore, unit),
        in_field="reason",
        asks="reason",
    )  # fmt: skip
