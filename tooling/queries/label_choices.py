"""Whose labels somebody wants: named codes, all never printed, a set's, a place's, a mill's,
or those of an earlier print."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import (
    Allotment,
    Kit,
    LabelEvent,
    Mill,
    Piece,
    Place,
    PlaceKind,
    SetCopy,
    Station,
    StockLine,
    ToolSet,
)
from tooling.queries.labels import MOST_LABELS, check_number, read_codes
from tooling.queries.scan_lookup import void_labels

PRINTED = ("issue", "print")
NOT_WALKED_TO = (PlaceKind.STATION, PlaceKind.UNKNOWN, PlaceKind.SCRAP)
"""Places without a label of their own: a station has its mill station's label."""


@dataclass(frozen=True)
class Choice:
    """What a person asked to print; ``what`` says which of the rest counts."""

    what: str = "codes"
    codes: str = ""
    never: str = ""
    set: str = ""
    copy: str = ""
    place: str = ""
    inside: str = "places"
    mill: str = ""
    run: str = ""


def chosen_codes(choice: Choice) -> list[str]:
    """The codes in the order in which they are printed.

    Raises ToolingError ``no_labels``, ``too_many_labels``, what ``read_code`` raises, and Unknown
    for a set, copy, place, mill or print that there is not.
    """
    codes = WAYS.get(choice.what, WAYS["codes"])(choice)
    if not codes:
        raise ToolingError("no_labels", NOTHING.get(choice.what, NOTHING["codes"]))
    check_number(len(codes))
    return codes


NOTHING = {
    "codes": _("There is no code in the field. Scan or type at least one."),
    "never": _("Nothing of this kind is without a label. Choose another kind."),
    "place": _("Nothing of what you chose is in this place. Choose what is in it differently."),
    "mill": _("This mill has no stations yet. Enter them on the mill's page."),
    "again": _("Every label of that print is void by now. Choose the labels anew."),
}


def codes_of_set(number: str, letter: str = "") -> list[str]:
    """The set's own label, then its allotted pieces in pass order; one copy or all.

    Raises Unknown ``unknown_set`` or ``unknown_copy``.
    """
    tool_set = ToolSet.objects.filter(number__iexact=number.strip()).first()
    if tool_set is None:
        raise Unknown("unknown_set", _("There is no set “{name}”."), name=number)
    copies = SetCopy.objects.filter(tool_set=tool_set)
    if letter.strip():
        copies = copies.filter(letter__iexact=letter.strip())
        if not copies.exists():
            raise Unknown(
                "unknown_copy",
                _("Set {set} has no copy “{letter}”. Leave the copy empty for all of them."),
                set=tool_set.number,
                letter=letter,
            )
    allotted = Allotment.objects.filter(copy__in=copies).order_by(
        "copy__letter", "position__set_pass__number", "position__shaft", "position__order"
    )
    return [tool_set.code, *dict.fromkeys(allotted.values_list("piece__code", flat=True))]


def codes_of_place(named: str, *, inside: str = "places") -> list[str]:
    """A place's labels in walking order: ``places`` itself and the places in it (a cart and its
    pegs), ``things`` the pieces and bins in it, ``all`` both.

    Raises Unknown ``unknown_place``, Conflict ``ambiguous_place``.
    """
    place = _place(named.strip())
    here = Q(path__startswith=place.path)
    codes: list[str] = []
    if inside != "things":
        rows = Place.objects.filter(here, is_active=True).exclude(kind=PlaceKind.STATION)
        codes += rows.order_by("walking_order", "path_name").values_list("code", flat=True)
        stations = Station.objects.filter(place__path__startswith=place.path)
        codes += stations.order_by("mill", "number").values_list("code", flat=True)
    if inside != "places":
        for model in (Piece, StockLine):
            things = model._default_manager.filter(place__path__startswith=place.path)
            things = things.order_by("place__walking_order", "place__path_name", "code")
            codes += things.values_list("code", flat=True)
    return codes


def _place(named: str) -> Place:
    clean = named.replace("\x00", "")
    found = Place.objects.filter(code=fold(clean)).first()
    if found is None:
        by_name = Place.objects.filter(Q(name__iexact=clean) | Q(path_name__iexact=clean))
        several = list(by_name.order_by("path_name")[:6])
        if len(several) > 1:
            said = "; ".join(f"{each.path_name} ({each.code})" for each in several)
            raise Conflict(
                "ambiguous_place",
                _("Several places are called “{name}”: {places}. Type the code of one."),
                name=clean,
                places=said,
            )
        found = several[0] if several else None
    if found is None:
        raise Unknown(
            "unknown_place",
            _("No place has the name or code “{name}”. Scan its label, or type its name whole."),
            name=clean[:60],
        )
    return found


def codes_of_mill(number: str) -> list[str]:
    """The labels of a mill's stations in order. Raises Unknown ``unknown_mill``."""
    mill = Mill.objects.filter(number__iexact=number.strip()).first()
    if mill is None:
        raise Unknown("unknown_mill", _("There is no mill “{name}”."), name=number)
    stations = Station.objects.filter(mill=mill).order_by("number")
    return list(stations.values_list("code", flat=True))


def codes_printed_at(run: str) -> list[str]:
    """The labels of an earlier print, named by one row of it; a void one's newer code stands in
    its place, and one that nothing replaced is left out. Raises Unknown ``unknown_print``."""
    row = LabelEvent.objects.filter(pk=run).first() if run.isdigit() else None
    if row is None or row.what not in PRINTED:
        raise Unknown("unknown_print", _("There is no such print. Choose the labels anew."))
    rows = LabelEvent.objects.filter(
        at=row.at, by=row.by_id, what__in=PRINTED,
        pk__gte=row.pk - MOST_LABELS, pk__lte=row.pk + MOST_LABELS,
    )  # fmt: skip
    codes = list(dict.fromkeys(rows.order_by("pk").values_list("code", flat=True)))
    void = void_labels(codes)
    return [code for code in (void.get(code, code) for code in codes) if code]


def never_printed(kind: str, *, most: int = MOST_LABELS) -> list[str]:
    """Codes of one kind of thing whose label was never printed, at most so many.

    Raises Unknown ``unknown_kind``.
    """
    if kind not in NEVER:
        raise Unknown(
            "unknown_kind", _("Choose the kind of thing whose labels were never printed.")
        )
    return list(unprinted(kind).values_list(NEVER[kind][1], flat=True)[:most])


def unprinted(kind: str) -> QuerySet[Any]:
    """Rows whose label was neither printed nor made void, in the order of their codes."""
    things, field, _word = NEVER[kind]
    done = LabelEvent.objects.filter(what__in=(*PRINTED, "void")).values("code")
    return things().exclude(**{f"{field}__in": done}).order_by(field)


NEVER: dict[str, tuple[Callable[[], QuerySet[Any]], str, Any]] = {
    "pieces": (
        lambda: Piece.objects.exclude(place__kind=PlaceKind.SCRAP), "code", _("pieces")),
    "stock": (lambda: StockLine.objects.all(), "code", _("stock bins")),
    "places": (
        lambda: Place.objects.filter(is_active=True).exclude(kind__in=NOT_WALKED_TO),
        "code", _("places")),
    "stations": (lambda: Station.objects.all(), "code", _("mill stations")),
    "sets": (lambda: ToolSet.objects.all(), "code", _("tool sets")),
    "kits": (lambda: Kit.objects.exclude(state="closed"), "number", _("kits")),
}  # fmt: skip
"""Kinds of things with labels: the rows, the field of the code, the word."""

WAYS: dict[str, Callable[[Choice], list[str]]] = {
    "codes": lambda choice: read_codes(choice.codes),
    "never": lambda choice: never_printed(choice.never),
    "set": lambda choice: codes_of_set(choice.set, choice.copy),
    "place": lambda choice: codes_of_place(choice.place, inside=choice.inside),
    "mill": lambda choice: codes_of_mill(choice.mill),
    "again": lambda choice: codes_printed_at(choice.run),
}
