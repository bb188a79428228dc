"""What stands on labels, found for any mix of codes by one query for each kind of thing."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.engineering.codes import CODE_LENGTH, Code, fold, looks_like_code, read_code
from tooling.errors import ToolingError, Unknown
from tooling.models import (
    DrawingKind,
    Kit,
    LabelEvent,
    Piece,
    Place,
    Station,
    StockLine,
    ToolSet,
)
from tooling.queries.scan_lookup import PIECE_LETTERS, void_label, void_labels

MOST_LABELS = 5000
"""No printer is sent more at once, and no query asks for more."""


@dataclass(frozen=True)
class LabelLine:
    """One label: the code, the big line, the small lines, and the kind in a word."""

    code: str
    headline: str
    lines: tuple[str, ...]
    kind_word: str


def read_codes(text: str) -> list[str]:
    """Codes with spaces, commas or lines between or even inside them, each checked, none twice.

    Raises what ``read_code`` raises, and ToolingError ``too_many_labels``.
    """
    parts = [part for part in re.split(r"[,;\r\n]+", text) if part.strip()]
    found = dict.fromkeys(read_code(word).text for part in parts for word in _codes_in(part))
    check_number(len(found))
    return list(found)


def _codes_in(part: str) -> list[str]:
    """One line may hold one code in groups, or several with spaces between."""
    whole = fold(part)
    slices = [whole[at : at + CODE_LENGTH] for at in range(0, len(whole), CODE_LENGTH)]
    return slices if all(map(looks_like_code, slices)) else part.split()


def check_number(count: int) -> None:
    """Raise ToolingError ``too_many_labels`` above what is printed at once."""
    if count > MOST_LABELS:
        raise ToolingError(
            "too_many_labels",
            gettext_lazy("{count} labels are too many at once. Print at most {most}, then go on."),
            count=count,
            most=MOST_LABELS,
        )


def label_lines(codes: Sequence[str]) -> list[LabelLine]:
    """In the order asked; as many queries for one as for thousands.

    Raises Conflict ``void_label``, Unknown ``unknown_code`` for a code that nothing has, and what
    ``read_code`` and ``check_number`` raise.
    """
    check_number(len(codes))
    read = [read_code(code) for code in codes]
    for code, newer in void_labels([code.text for code in read]).items():
        raise void_label(code, newer)
    found = find_lines([code.text for code in read])
    for each in read:
        if each.text not in found:
            raise _unknown(each)
    return [found[code.text] for code in read]


def find_lines(codes: Sequence[str]) -> dict[str, LabelLine]:
    """What the codes name, by code; one that nothing has is left out."""
    found: dict[str, LabelLine] = {}
    for letters, find in FINDERS:
        if wanted := [code for code in codes if code[0] in letters]:
            found.update({line.code: line for line in find(wanted)})
    return found


def codes_ever(code: str) -> list[str]:
    """The code and those that it replaced, newest first: history is told of all of them.

    One query, and one more for every label that was replaced.
    """
    codes = [code]
    while earlier := _replaced_by(codes[-1]):
        codes.append(earlier)
    return codes


def _replaced_by(code: str) -> str | None:
    rows = LabelEvent.objects.filter(code=code, what="reissue").exclude(replaces="")
    return rows.values_list("replaces", flat=True).first()


def _unknown(code: Code) -> ToolingError:
    return Unknown(
        "unknown_code",
        gettext_lazy("No {kind} has the label {label}. Compare it with the label, or search for "
                     "the mark."),
        kind=code.kind_name,
        label=code.text,
    )  # fmt: skip


def _pieces(codes: Sequence[str]) -> Iterable[LabelLine]:
    rows = Piece.objects.filter(code__in=codes).values_list(
        "code", "mark", "copy_letter", "drawing__number", "revision__revision", "owner__name",
        "owner__is_shop", "drawing__kind",
    )  # fmt: skip
    for code, mark, copy, drawing, revision, owner, is_shop, kind in rows:
        named = f"{mark} {copy}".strip() or drawing
        lines = [] if is_shop else [_("property of {owner}").format(owner=owner)]
        lines.append(_("drawing {number} {revision}").format(number=drawing, revision=revision))
        yield LabelLine(code, named, tuple(lines), str(DrawingKind(kind).label))


def _stock(codes: Sequence[str]) -> Iterable[LabelLine]:
    for line in StockLine.objects.filter(code__in=codes).select_related("drawing", "place"):
        lines = [line.place.path_name]
        if line.condition != "sound":
            lines.append(str(line.get_condition_display()))
        yield LabelLine(line.code, line.drawing.number, tuple(lines), _("stock bin"))


def _places(codes: Sequence[str]) -> Iterable[LabelLine]:
    for place in Place.objects.filter(code__in=codes).select_related("parent"):
        inside = place.parent.path_name if place.parent and not place.moves else ""
        lines = (inside,) if inside else ()
        yield LabelLine(place.code, place.name, lines, str(place.get_kind_display()))


def _sets(codes: Sequence[str]) -> Iterable[LabelLine]:
    for tool_set in ToolSet.objects.filter(code__in=codes):
        yield LabelLine(tool_set.code, tool_set.number, (tool_set.name,), _("tool set"))


def _kits(codes: Sequence[str]) -> Iterable[LabelLine]:
    rows = Kit.objects.filter(number__in=codes).select_related("job__tool_set", "job__mill")
    for kit in rows:
        job = kit.job
        lines = (f"{job.tool_set.number} {job.tool_set.name}", str(job.mill))
        yield LabelLine(kit.number, job.number, lines, _("kit"))


def _stations(codes: Sequence[str]) -> Iterable[LabelLine]:
    for station in Station.objects.filter(code__in=codes).select_related("mill"):
        headline = _("{mill}, {number}").format(mill=station.mill.number, number=station.number)
        yield LabelLine(station.code, headline, (station.mill.name,), _("mill station"))


FINDERS: tuple[tuple[str, Callable[[Sequence[str]], Iterable[LabelLine]]], ...] = (
    (PIECE_LETTERS, _pieces),
    ("B", _stock),
    ("PC", _places),
    ("T", _sets),
    ("K", _kits),
    ("M", _stations),
)
