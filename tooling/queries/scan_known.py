"""What a device must know to scan while the server is out of reach: every label and what it is.

Made for 100,000 pieces: places and drawings stand by number, pieces as bundles of text by the
first characters of their codes, so that a device keeps a few dozen rows and reads one to answer.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.db.models import Max, Model

from tooling.models import (
    Change,
    Drawing,
    Kit,
    KitPosition,
    LabelEvent,
    Movement,
    Piece,
    PieceAlias,
    Place,
    Station,
    StockLine,
    ToolSet,
)
from tooling.models.shop import MOVING_KINDS, PlaceKind
from tooling.queries.kit_words import where_words
from tooling.queries.out import LEAVING_KINDS
from tooling.queries.scans import SMALL_KINDS
from tooling.queries.settings import setting_values

FORMAT = 3
BUNDLED_BY = 5
"""So many first characters do the codes of one bundle share: 1,156 pieces at most."""

MOVES, LEAVES, CHOSEN, UNUSED, ROLLS, SMALL = 1, 2, 4, 8, 16, 32
"""What a place's number says: a cart or plate; out of the building; offered to choose; not used
any more; a cart, which stands on the floor; a shelf, bin or peg, into which none fits."""


_PLAIN = str.maketrans("\t\n\r", "   ")
CHOSEN_KINDS = (*MOVING_KINDS, PlaceKind.PERSON)
_WATCHED: tuple[type[Model], ...] = (
    Movement, Change, Piece, Place, StockLine, Kit, LabelEvent, Station, ToolSet, Drawing,
    PieceAlias,
)  # fmt: skip


def known_version() -> str:
    """Another word whenever what the device knows may have changed. Thirteen statements."""
    newest = [_newest(model) for model in _WATCHED]
    said = json.dumps([FORMAT, newest, _kits(), _waits()])
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def _newest(model: type[Model]) -> int:
    return model._default_manager.order_by().aggregate(newest=Max("pk"))["newest"] or 0


def known(version: str) -> dict[str, Any]:
    """All of it, ready for JSON. Eleven statements.

    ``places``: code, name, number (see ``MOVES``). ``pieces``: by the first ``bundled_by``
    characters of the code, lines of the rest of the code, mark, drawing's number in ``drawings``
    and place's in ``places``, then its old numbers, with a tab between. ``wants``: by the number of
    an open kit what it chose, lines of a piece's code, where it goes, and 1 once it is there.
    """
    drawings = list(Drawing.objects.order_by("pk").values_list("pk", "number"))
    places = list(Place.objects.order_by("pk").values_list(
        "pk", "code", "name", "path_name", "kind", "is_active"))  # fmt: skip
    at_drawing = {pk: at for at, (pk, _number) in enumerate(drawings)}
    at_place = {pk: at for at, (pk, *_rest) in enumerate(places)}
    idle_s, guard_s = _waits()
    return {
        "format": FORMAT,
        "version": version,
        "idle_s": idle_s,
        "guard_s": guard_s,
        "places": [
            [code, path or name, _number_of(kind, active)]
            for _pk, code, name, path, kind, active in places
        ],
        "stations": _rows(Station, "code", "place__name"),
        "kits": _kits(),
        "wants": _wants(),
        "bins": [
            [code, at_drawing[drawing], at_place[place], count]
            for code, drawing, place, count in StockLine.objects.order_by("code").values_list(
                "code", "drawing_id", "place_id", "count"
            )
        ],
        "sets": _rows(ToolSet, "code", "number", "name"),
        "void": _void(),
        "drawings": [number for _pk, number in drawings],
        "bundled_by": BUNDLED_BY,
        "pieces": _bundles(at_drawing, at_place),
    }


def _rows(model: type[Model], *fields: str) -> list[list[Any]]:
    return [list(row) for row in model._default_manager.order_by("pk").values_list(*fields)]


def _bundles(at_drawing: dict[int, int], at_place: dict[int, int]) -> dict[str, str]:
    lines: dict[str, list[str]] = {}
    old = _old_numbers()
    rows = Piece.objects.order_by("code").values_list(
        "pk", "code", "mark", "drawing_id", "place_id"
    )
    for pk, code, mark, drawing, place in rows.iterator(2_000):
        rest, plain = code[BUNDLED_BY:], mark.translate(_PLAIN)
        line = f"{rest}\t{plain}\t{at_drawing[drawing]}\t{at_place[place]}{old.get(pk, '')}"
        lines.setdefault(code[:BUNDLED_BY], []).append(line)
    return {begin: "\n".join(bundle) for begin, bundle in lines.items()}


def _old_numbers() -> dict[int, str]:
    """By piece what else it is called, each with a tab before it."""
    old: dict[int, str] = {}
    for piece, text in PieceAlias.objects.order_by("pk").values_list("piece_id", "text"):
        old[piece] = f"{old.get(piece, '')}\t{text.translate(_PLAIN)}"
    return old


def _number_of(kind: str, is_active: bool) -> int:
    return (
        MOVES * (kind in MOVING_KINDS)
        + LEAVES * (kind in LEAVING_KINDS)
        + CHOSEN * (kind in CHOSEN_KINDS)
        + UNUSED * (not is_active)
        + ROLLS * (kind == PlaceKind.CART)
        + SMALL * (kind in SMALL_KINDS)
    )


def _kits() -> list[list[Any]]:
    """Open kits that are gathered somewhere: number, place's name, job, place's code, version."""
    rows = Kit.objects.filter(closed_at=None, place__isnull=False).order_by("job__gathers_at", "pk")
    told = rows.values_list("number", "place__name", "job__number", "place__code", "version")
    return [list(row) for row in told]


def _wants() -> dict[str, str]:
    rows = KitPosition.objects.filter(
        kit__closed_at=None, kit__place__isnull=False, piece__isnull=False
    ).order_by("kit", "station_number", "shaft", "order")
    lines: dict[str, list[str]] = {}
    for kit, piece, number, shaft, order, is_staged in rows.values_list(
        "kit__number", "piece__code", "pass_number", "shaft", "order", "is_staged"
    ).iterator(2_000):
        where = where_words(number, shaft, order)
        lines.setdefault(kit, []).append(f"{piece}\t{where}\t{1 if is_staged else ''}")
    return {kit: "\n".join(each) for kit, each in lines.items()}


def _void() -> dict[str, str]:
    """Void labels and what took their place, if anything did."""
    events = LabelEvent.objects.filter(what__in=("void", "reissue")).order_by("pk")
    void: dict[str, str] = {}
    for what, code, replaces in events.values_list("what", "code", "replaces"):
        if what == "void":
            void.setdefault(code, "")
        elif replaces:
            void[replaces] = code
    return void


def _waits() -> tuple[float, float]:
    """Seconds until the place is forgotten; within how many the same label counts once."""
    idle, guard = "scan_context_idle", "scan_same_label_guard"
    found = setting_values([idle, guard])
    return found[idle], found[guard]
