"""What stands on labels, found for any mix of codes by one query for each kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tooling.engineering.codes import Code, read_code
from tooling.errors import ToolingError, Unknown
from tooling.models import (
    Allotment,
    Kit,
    LabelEvent,
    Piece,
    Place,
    SetCopy,
    Station,
    StockLine,
    ToolSet,
)

PIECE_LETTERS = "RSDLH"


@dataclass(frozen=True)
class LabelLine:
    """One label: the code, the big line, the small lines, and the kind in a word."""

    code: str
    headline: str
    lines: tuple[str, ...]
    kind_word: str


@dataclass(frozen=True)
class LabelsPage:
    """Where labels are asked for."""

    never_printed: int
    never_printed_by_kind: tuple[tuple[str, str, int], ...]
    sets: tuple[tuple[str, str], ...]
    recent: tuple[LabelEvent, ...]


def read_codes(text: str) -> list[str]:
    """Codes written with spaces, commas or lines between them, each checked, none twice.

    Raises what ``read_code`` raises.
    """
    words = text.replace(",", " ").replace(";", " ").split()
    return list(dict.fromkeys(read_code(word).text for word in words))


def label_lines(codes: Sequence[str]) -> list[LabelLine]:
    """In the order asked. Raises Unknown ``unknown_code`` for a code that nothing has."""
    read = [read_code(code) for code in codes]
    found: dict[str, LabelLine] = {}
    for letters, find in FINDERS:
        wanted = [code.text for code in read if code.kind in letters]
        for start in range(0, len(wanted), 500):
            found.update({line.code: line for line in find(wanted[start : start + 500])})
    for code in read:
        if code.text not in found:
            raise _unknown(code)
    return [found[code.text] for code in read]


def _unknown(code: Code) -> ToolingError:
    return Unknown(
        "unknown_code", _("No {kind} has the label {label}."), kind=code.kind_name, label=code.text
    )


def _pieces(codes: Sequence[str]) -> Iterable[LabelLine]:
    rows = Piece.objects.filter(code__in=codes).values_list(
        "code", "mark", "copy_letter", "drawing__number", "revision__revision", "owner__name",
        "owner__is_shop", "drawing__kind",
    )  # fmt: skip
    for code, mark, copy, drawing, revision, owner, is_shop, kind in rows:
        named = f"{mark} {copy}".strip() or drawing
        lines = [_("drawing {number} {revision}").format(number=drawing, revision=revision)]
        if not is_shop:
            lines.append(_("property of {owner}").format(owner=owner))
        yield LabelLine(code, named, tuple(lines), kind.replace("_", " "))


def _stock(codes: Sequence[str]) -> Iterable[LabelLine]:
    for line in StockLine.objects.filter(code__in=codes).select_related("drawing", "place"):
        lines = [line.place.path_name]
        if line.condition != "sound":
            lines.append(str(line.get_condition_display()))
        yield LabelLine(line.code, line.drawing.number, tuple(lines), _("stock bin"))


def _places(codes: Sequence[str]) -> Iterable[LabelLine]:
    for place in Place.objects.filter(code__in=codes).select_related("parent"):
        inside = place.parent.path_name if place.parent else ""
        yield LabelLine(
            place.code, place.name, (inside,) if inside else (), str(place.get_kind_display())
        )


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


def codes_of_set(number: str, letter: str = "") -> list[str]:
    """The set's own label, then its allotted pieces in pass order; one copy or all."""
    tool_set = ToolSet.objects.filter(number=number).first()
    if tool_set is None:
        raise Unknown("unknown_set", _("There is no set “{name}”."), name=number)
    copies = SetCopy.objects.filter(tool_set=tool_set)
    if letter:
        copies = copies.filter(letter=letter)
    allotted = Allotment.objects.filter(copy__in=copies).order_by(
        "copy__letter", "position__set_pass__number", "position__shaft", "position__order"
    )
    return [tool_set.code, *dict.fromkeys(allotted.values_list("piece__code", flat=True))]


def never_printed(kind: str, *, most: int = 5000) -> list[str]:
    """Codes of one kind of thing whose label was never issued."""
    model, field = NEVER[kind]
    issued = LabelEvent.objects.values("code")
    rows = model._default_manager.exclude(**{f"{field}__in": issued}).order_by(field)  # type: ignore[attr-defined]
    return list(rows.values_list(field, flat=True)[:most])


NEVER = {
    "pieces": (Piece, "code"),
    "stock": (StockLine, "code"),
    "places": (Place, "code"),
    "sets": (ToolSet, "code"),
    "stations": (Station, "code"),
    "kits": (Kit, "number"),
}


def labels_page() -> LabelsPage:
    """A fixed number of queries: one per kind, sets, and the newest events."""
    issued = LabelEvent.objects.values("code")
    words = {
        "pieces": _("pieces"),
        "stock": _("stock bins"),
        "places": _("places"),
        "sets": _("tool sets"),
        "stations": _("mill stations"),
        "kits": _("kits"),
    }
    kinds = []
    for kind, (model, field) in NEVER.items():
        count = model._default_manager.exclude(**{f"{field}__in": issued}).count()  # type: ignore[attr-defined]
        kinds.append((kind, words[kind], count))
    return LabelsPage(
        never_printed=sum(count for _kind, _word, count in kinds),
        never_printed_by_kind=tuple(kinds),
        sets=tuple(ToolSet.objects.order_by("number").values_list("number", "name")),
        recent=tuple(LabelEvent.objects.select_related("by").order_by("-id")[:30]),
    )
