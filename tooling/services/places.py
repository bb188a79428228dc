"""Places: made one at a time or a row of pegs in one go, renamed, put inside one another.

A cart or plate changes its place by a movement, never by an edit; what stands is edited.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

from django.db.models import F, Value
from django.db.models.functions import Concat, Substr
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import MOVING_KINDS, How, Movement, Person, Piece, Place, PlaceKind, StockLine
from tooling.permissions import Verb, check_can
from tooling.services import staging
from tooling.services.codes import next_codes, place_letter
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.write import lock, writing

MOST_AT_ONCE = 500
PATH_LONGEST = 400
PATH_NAME_LONGEST = 600
_LAST_NUMBER = re.compile(r"^(.*?)(\d+)$")


def create_place(
    *, by: Person, at: datetime, name: str, kind: str, parent: Place | None = None, **fields: Any
) -> Place:
    """One new place. Raises ToolingError ``already_there``, ``too_deep``, ``empty_text``."""
    return create_places(
        by=by, at=at, first_name=name, kind=kind, parent=parent, count=1, **fields
    )[0]


def create_places(
    *,
    by: Person,
    at: datetime,
    first_name: str,
    kind: str,
    count: int,
    parent: Place | None = None,
    **fields: Any,
) -> list[Place]:
    """A row of places: from ``Peg 1``, 24 of them give ``Peg 1`` to ``Peg 24``, zeros kept.

    Walking orders go up one by one from the one given. All or none.
    Raises ToolingError ``already_there``, ``absurd_count``, ``name_without_number``, ``too_deep``.
    """
    check_can(by, Verb.EDIT_PLACES)
    require_fields(Place, fields)
    if kind not in PlaceKind.values:
        raise ToolingError(
            "unknown_kind", _("“{kind}” is no kind of place."), kind=kind, in_field="kind"
        )
    names = _names(first_name, count)
    first_order = fields.pop("walking_order", 0) or 0
    with writing():
        if parent is not None:
            lock(places=[parent.pk])
        _refuse_taken_names(names, parent)
        codes = next_codes(kind=place_letter(kind), count=count)
        rows = [
            _new_place(
                code=code, name=name, kind=kind, parent=parent, order=first_order + n, fields=fields
            )
            for n, (code, name) in enumerate(zip(codes, names, strict=True))
        ]
        made = Place.objects.bulk_create(rows)
        for place in made:
            values = {"name": place.name, "kind": kind, "inside": parent}
            record_creation(by=by, at=at, row=place, key=place.code, fields=values)
        if kind in MOVING_KINDS and parent is not None:
            _record_arrivals(by=by, at=at, carts=made, to=parent)
    return made


def edit_place(*, by: Person, at: datetime, place: Place, **fields: Any) -> Place:
    """Rename a place, change its order, load, height or owner, switch it off, put it elsewhere.

    Raises ``place_inside_itself``, ``carts_move``, ``already_there``, ``not_empty``, ``too_deep``.
    """
    check_can(by, Verb.EDIT_PLACES)
    require_fields(Place, fields)
    with writing():
        lock(places=[place.pk])
        fresh = Place.objects.select_related("parent").get(pk=place.pk)
        if "name" in fields:
            fields["name"] = _name(fields["name"])
        _check_edit(fresh, fields)
        was = fresh.path
        if apply_edit(by=by, at=at, row=fresh, key=fresh.code, fields=fields):
            _write_paths(fresh)
        if fresh.path != was:
            _tell_kits(by=by, at=at, place=fresh, was=was)
    return fresh


def paths(*, code: str, name: str, parent: Place | None) -> tuple[str, str]:
    """The path of codes and the path of names of a place. Raises ToolingError ``too_deep``."""
    path = f"{parent.path if parent else '/'}{code}/"
    path_name = f"{parent.path_name} / {name}" if parent else name
    if len(path) > PATH_LONGEST or len(path_name) > PATH_NAME_LONGEST:
        raise ToolingError(
            "too_deep",
            _("“{name}” would lie too many places deep. Put it inside a place further out."),
            name=name,
            in_field="parent",
        )
    return path, path_name


def _new_place(
    *, code: str, name: str, kind: str, parent: Place | None, order: int, fields: dict[str, Any]
) -> Place:
    path, path_name = paths(code=code, name=name, parent=parent)
    return Place(
        code=code,
        name=name,
        kind=kind,
        parent=parent,
        path=path,
        path_name=path_name,
        walking_order=order,
        **fields,
    )


def _name(name: str) -> str:
    trimmed = require_text(name, field="name", label=_("Name"), longest=80)
    if "/" in trimmed:
        raise ToolingError(
            "slash_in_name",
            _("“{name}” holds a slash, which parts a place from what it is in. Leave it out."),
            name=trimmed,
            in_field="name",
        )
    return trimmed


def _names(first: str, count: int) -> list[str]:
    first = _name(first)
    if not 1 <= count <= MOST_AT_ONCE:
        raise ToolingError(
            "absurd_count",
            _("{count} places at once cannot be made; make 1 to {most}."),
            count=count,
            most=MOST_AT_ONCE,
            in_field="count",
        )
    if count == 1:
        return [first]
    found = _LAST_NUMBER.match(first)
    if not found:
        raise ToolingError(
            "name_without_number",
            _("To make {count} at once, end the first name with a number, such as “{name} 1”."),
            count=count,
            name=first,
            in_field="name",
        )
    stem, digits = found.groups()
    return [_name(f"{stem}{int(digits) + n:0{len(digits)}d}") for n in range(count)]


def _refuse_taken_names(names: list[str], parent: Place | None) -> None:
    taken = Place.objects.filter(parent=parent, name__in=names).order_by("name").first()
    if taken is not None:
        raise already_there(label=_("Place"), text=taken.name, field="name")


def _check_edit(place: Place, fields: dict[str, Any]) -> None:
    parent = fields.get("parent", place.parent)
    name = fields.get("name", place.name)
    if parent != place.parent:
        _check_new_parent(place, parent)
    if Place.objects.filter(parent=parent, name=name).exclude(pk=place.pk).exists():
        raise already_there(label=_("Place"), text=name, field="name")
    if fields.get("kind", place.kind) != place.kind and place_letter(
        fields["kind"]
    ) != place_letter(place.kind):
        raise Conflict(
            "label_says_otherwise",
            _("The label of {name} says whether it moves. Make a new place instead."),
            name=place.name,
            in_field="kind",
        )
    if fields.get("is_active") is False and place.is_active:
        _refuse_when_used(place)


def _check_new_parent(place: Place, parent: Place | None) -> None:
    if place.moves:
        raise Conflict(
            "carts_move",
            _("{name} moves. Scan it to its new place, then it stands there with all on it."),
            name=place.name,
            in_field="parent",
        )
    if parent is not None and parent.path.startswith(place.path):
        raise Conflict(
            "place_inside_itself",
            _("{name} cannot go inside {parent}, which is inside {name}."),
            name=place.name,
            parent=parent.path_name,
            in_field="parent",
        )


def _refuse_when_used(place: Place) -> None:
    inside = {"place__path__startswith": place.path}
    pieces = Piece.objects.filter(**inside).count()
    counts = StockLine.objects.filter(count__gt=0, **inside).count()
    if pieces or counts:
        raise Conflict(
            "not_empty",
            _("{name} still holds {pieces} pieces and {counts} stock lines. Move them first."),
            name=place.name,
            pieces=pieces,
            counts=counts,
            in_field="is_active",
        )


def _write_paths(place: Place) -> None:
    """Renew the paths of a place and of everything inside it, two statements in all."""
    was, was_name = place.path, place.path_name
    path, path_name = paths(code=place.code, name=place.name, parent=place.parent)
    if (path, path_name) == (was, was_name):
        return
    inside = Place.objects.filter(path__startswith=was)
    deepest = max((len(row) for row in inside.values_list("path", flat=True)), default=0)
    longest = max((len(row) for row in inside.values_list("path_name", flat=True)), default=0)
    if (
        deepest + len(path) - len(was) > PATH_LONGEST
        or longest + len(path_name) - len(was_name) > PATH_NAME_LONGEST
    ):
        raise ToolingError(
            "too_deep",
            _("What is inside “{name}” would lie too many places deep there."),
            name=place.name,
            in_field="parent",
        )
    inside.update(
        path=Concat(Value(path), Substr(F("path"), len(was) + 1)),
        path_name=Concat(Value(path_name), Substr(F("path_name"), len(was_name) + 1)),
    )
    place.path, place.path_name = path, path_name


def _tell_kits(*, by: Person, at: datetime, place: Place, was: str) -> None:
    """What lies inside may be in a kit's gathering place now, or no longer."""
    inside = Piece.objects.filter(place__path__startswith=place.path)
    moves = [
        staging.Moved(piece, where, where, None)
        for piece, where in inside.values_list("pk", "place_id")
    ]
    staging.after_moves(by=by, at=at, moves=moves)
    staging.after_bins_move(by=by, at=at, was=was, path=place.path)


def _record_arrivals(*, by: Person, at: datetime, carts: list[Place], to: Place) -> None:
    """A new cart stands where it was made: its first movement."""
    rows = Movement.objects.bulk_create(
        Movement(
            happened_at=at,
            received_at=at,
            effective_at=at,
            cart=cart,
            to=to,
            how=How.TYPED,
            by=by,
        )
        for cart in carts
    )
    for cart, row in zip(carts, rows, strict=True):
        cart.placed_by, cart.placed_effective_at, cart.placed_received_at = row, at, at
    Place.objects.bulk_update(carts, ["placed_by", "placed_effective_at", "placed_received_at"])
