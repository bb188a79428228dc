"""The one row that somebody means by what they typed: a code, a number, a name, a mark."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.engineering import codes
from tooling.errors import ToolingError, Unknown
from tooling.models import Drawing, Piece, Place, SetCopy, StockLine
from tooling.queries.prefixes import capitals

MOST_SHOWN = 4


def find_place(text: str) -> Place:
    """By label code, by full name (``Rack A / Shelf 3``) or by an end of it that only one has.

    Raises Unknown ``unknown_place``, ToolingError ``ambiguous_place``.
    """
    text = " ".join(text.split())
    found = list(Place.objects.filter(code=codes.fold(text))[:1])
    found = found or list(Place.objects.filter(path_name__iexact=text)[:1])
    ends_so = Q(name__iexact=text) | Q(path_name__iendswith=f" / {text}")
    found = found or list(Place.objects.filter(ends_so).order_by("path_name")[: MOST_SHOWN + 1])
    if not found:
        raise Unknown(
            "unknown_place",
            _("There is no place “{text}”. Write its name or its label code."),
            text=text,
        )
    if len(found) > 1:
        raise ToolingError(
            "ambiguous_place",
            _("“{text}” is the name of several places: {names}. Write the one you mean."),
            text=text,
            names="; ".join(place.path_name for place in found[:MOST_SHOWN]),
        )
    return found[0]


def find_drawing(text: str) -> Drawing:
    """By number, capitals or not. Raises Unknown ``unknown_drawing``."""
    keys = capitals(" ".join(text.split()))
    found = Drawing.objects.filter(number_key__in=keys).first()
    if found is None:
        raise Unknown(
            "unknown_drawing",
            _("There is no drawing “{text}”. Check the number, or make the drawing first."),
            text=text.strip(),
        )
    return found


def find_piece(text: str) -> Piece:
    """By label code, mark or old number, when only one piece has it.

    Raises Unknown ``unknown_piece``, ToolingError ``ambiguous_piece``.
    """
    keys = capitals(text.strip())
    rows = Piece.objects.select_related("drawing", "revision")
    found = list(rows.filter(code=codes.fold(text))[:1])
    if not found and text.strip():
        named = Q(mark_key__in=keys) | Q(pk__in=_with_alias(keys))
        found = list(rows.filter(named).order_by("code")[: MOST_SHOWN + 1])
    if not found:
        raise Unknown(
            "unknown_piece",
            _("No piece has the code, mark or old number “{text}”."),
            text=text.strip(),
        )
    if len(found) > 1:
        raise ToolingError(
            "ambiguous_piece",
            _("Several pieces are marked “{text}”: {codes}. Write the code of the one you mean."),
            text=text.strip(),
            codes=", ".join(piece.code for piece in found[:MOST_SHOWN]),
        )
    return found[0]


def _with_alias(keys: Collection[str]) -> list[int]:
    rows = Piece.objects.filter(aliases__text_key__in=keys)
    return list(rows.values_list("pk", flat=True)[: MOST_SHOWN + 1])


def find_filler(text: str) -> Piece | StockLine:
    """What may fill a position of a kit: a bin by its label code, else a piece as people call it.

    Raises as ``find_piece``.
    """
    line = StockLine.objects.filter(code=codes.fold(text)).first()
    return line if line is not None else find_piece(text)


def find_copy(text: str) -> SetCopy:
    """A copy of a set by the set's number and its letter, such as ``1472-A``. Raises Unknown
    ``unknown_copy``."""
    number, _dash, letter = " ".join(text.split()).rpartition("-")
    rows = SetCopy.objects.select_related("tool_set")
    found = rows.filter(tool_set__number__iexact=number, letter__iexact=letter).first()
    if found is None:
        raise Unknown(
            "unknown_copy",
            _("There is no copy “{text}”. Write the set's number and the letter, such as 1472-A."),
            text=text.strip()[:60],
        )
    return found
