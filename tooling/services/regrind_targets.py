"""What a piece is to measure after the work: as it was said, or so much off what it has now.

Every recorded diameter falls by the amount cut: where one diameter is named, the others follow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import ToolingError
from tooling.models import DIAMETERS, DIMENSIONS, MarkPlace, Piece, WorkKind
from tooling.services.dimensions import LEAST_KNOWN, dimension_words, known_size
from tooling.services.work import check_kind

TAKES_OFF = frozenset({WorkKind.REGRIND, WorkKind.FACE, WorkKind.POLISH, WorkKind.SHARPEN})
GOES_OVER_THE_MARK = frozenset(
    {
        *(WorkKind.REGRIND, WorkKind.RECONTOUR, WorkKind.FACE, WorkKind.STRIP, WorkKind.PLATE),
        WorkKind.REMARK,
    }
)


@dataclass(frozen=True)
class Target:
    """What a dimension is to be, and how much it may be under and over. Lengths in nm."""

    target_nm: int
    minus_nm: int
    plus_nm: int


@dataclass(frozen=True)
class OrderLineIn:
    """A piece and the work on it, in order. ``take_off_nm``: so much off every diameter that is
    known, or off the face where it is only faced. ``mark_to_restore``: None where the work says
    it. ``tolerance_nm``: each way, where a target has none of its own; None: the shop's setting.
    """

    piece: Piece
    kinds: Sequence[str] = (WorkKind.REGRIND,)
    targets: Mapping[str, Target | int] = field(default_factory=dict)
    take_off_nm: int | None = None
    tolerance_nm: int | None = None
    mark_to_restore: bool | None = None
    note: str = ""


def mark_is_to_be_restored(line: OrderLineIn) -> bool:
    """As it was said; else where the piece has a mark and the work may go over it."""
    if line.mark_to_restore is not None:
        return line.mark_to_restore
    marked = bool(line.piece.mark) and line.piece.mark_place != MarkPlace.NONE
    return marked and bool(GOES_OVER_THE_MARK & set(line.kinds))


def targets_of(line: OrderLineIn, *, usual_nm: int) -> dict[str, Target]:
    """Dimension → target. ``usual_nm``: tolerance each way where nothing else is said.

    Raises ``unknown_kind``, ``no_work``, ``unknown_dimension``, ``not_positive``, ``no_target``,
    ``cut_made_larger``, ``below_least_diameter``, ``below_least_width``.
    """
    check_kinds(line.kinds)
    within = line.tolerance_nm if line.tolerance_nm is not None else usual_nm
    if within < 0:
        raise ToolingError(
            "negative_length", _("A tolerance is never negative."), in_field="tolerance"
        )
    found = {name: _as_target(target, within) for name, target in line.targets.items()}
    for name, size in _following(line, found):
        found.setdefault(name, Target(size, within, within))
    _check(line, found)
    return {name: found[name] for name in DIMENSIONS if name in found}


def check_kinds(kinds: Iterable[str]) -> None:
    """Raise ``no_work``, ``unknown_kind``."""
    asked = list(kinds)
    if not asked:
        raise ToolingError("no_work", _("Say what is to be done with the piece."), in_field="kinds")
    for kind in asked:
        check_kind(kind)


def _as_target(target: Target | int, within: int) -> Target:
    return target if isinstance(target, Target) else Target(target, within, within)


def _following(line: OrderLineIn, given: Mapping[str, Target]) -> list[tuple[str, int]]:
    """What follows from an amount, or from the one diameter that was named."""
    off = line.take_off_nm
    if off is not None and off <= 0:
        raise ToolingError(
            "not_positive",
            _("{dimension} must be above nothing."),
            dimension=_("What comes off"),
            in_field="take_off",
        )
    cuts = WorkKind.REGRIND in line.kinds
    if off is not None and not cuts and WorkKind.FACE in line.kinds:
        width = known_size(line.piece, "face_width")
        return [("face_width", width - off)] if width is not None else []
    if off is None and cuts:
        named = [name for name in DIAMETERS if name in given]
        now = known_size(line.piece, named[0]) if named else None
        off = now - given[named[0]].target_nm if now is not None else None
    if off is None:
        return []
    sizes = {name: known_size(line.piece, name) for name in DIAMETERS}
    return [(name, size - off) for name, size in sizes.items() if size is not None]


def _check(line: OrderLineIn, found: Mapping[str, Target]) -> None:
    unit: Unit = "in" if line.piece.unit == "in" else "mm"
    unknown = set(found) - set(DIMENSIONS)
    if unknown:
        raise ToolingError(
            "unknown_dimension",
            _("“{dimension}” is no dimension of a piece."),
            dimension=sorted(unknown)[0],
            in_field="targets",
        )
    if WorkKind.REGRIND in line.kinds and not set(found) & set(DIAMETERS):
        raise ToolingError(
            "no_target",
            _("{piece}: a regrind goes to a diameter. Write what comes off, or the diameter that "
              "is wanted."),
            piece=line.piece.called,
            in_field="take_off",
        )  # fmt: skip
    only_takes_off = not set(line.kinds) - TAKES_OFF - {WorkKind.STRIP, WorkKind.REMARK}
    for name, target in found.items():
        now = known_size(line.piece, name)
        _check_possible(line, name, target, unit)
        if only_takes_off and name != "guide_offset" and now is not None and target.target_nm > now:
            raise ToolingError(
                "cut_made_larger",
                _("{piece}: {dimension} {target} is above the {now} that it has. Cutting takes "
                  "away; write a smaller one."),
                piece=line.piece.called,
                dimension=dimension_words(name),
                target=say_length(target.target_nm, unit),
                now=say_length(now, unit),
                in_field=f"target_{name}",
            )  # fmt: skip


def _check_possible(line: OrderLineIn, name: str, target: Target, unit: Unit) -> None:
    if (target.target_nm <= 0 and name != "guide_offset") or min(
        target.minus_nm, target.plus_nm
    ) < 0:
        raise ToolingError(
            "not_positive",
            _("{dimension} must be above nothing."),
            dimension=dimension_words(name),
            in_field=f"target_{name}",
        )
    least = getattr(line.piece.revision, f"least_{name}_nm") if name in LEAST_KNOWN else None
    if least is not None and target.target_nm < least:
        raise below_least(line.piece, name, target.target_nm, least, unit)


def below_least(piece: Piece, name: str, size_nm: int, least_nm: int, unit: Unit) -> ToolingError:
    """A piece may not be cut below its least; where it is, it is never released."""
    code = "below_least_width" if name == "face_width" else "below_least_diameter"
    return ToolingError(
        code,
        _("{piece}: {dimension} {size} is below the least allowed {least}. Have a new one made."),
        piece=piece.called,
        dimension=dimension_words(name),
        size=say_length(size_nm, unit),
        least=say_length(least_nm, unit),
        piece_id=piece.pk,
        in_field=f"target_{name}",
    )
