"""Saying where things belong: one piece or cart, or all that lies somewhere now."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Change, Person, Piece, Place, SetCopy
from tooling.permissions import Verb, check_can
from tooling.queries.homes import NO_HOME_KINDS
from tooling.services.edits import apply_edit
from tooling.services.movements import check_place_is_used
from tooling.services.write import lock, record_change, writing

SAID = "said where it belongs"
TAKEN_BACK = "took back where it belongs"


@dataclass(frozen=True)
class Said:
    """What was said: of how many things, of how many it was new, and the act to take it back."""

    things: int
    changed: int
    act: int | None


def set_piece_home(*, by: Person, at: datetime, piece: Piece, home: Place | None) -> Said:
    """Where a piece belongs; None: where its copy of the set does.

    Raises NotAllowed, ``place_not_used``, ``no_home_there``.
    """
    check_can(by, Verb.EDIT_PLACES)
    check_home(home)
    with writing():
        lock(pieces=[piece.pk])
        fresh = Piece.objects.select_related("home").get(pk=piece.pk)
        return _say(by=by, at=at, homes=[(fresh, home)])


def set_cart_home(*, by: Person, at: datetime, cart: Place, home: Place | None) -> Said:
    """Where a cart or plate stands when nobody uses it; None: nobody says.

    Raises NotAllowed, ``place_not_used``, ``no_home_there``, ``does_not_move``,
    ``place_inside_itself``.
    """
    check_can(by, Verb.EDIT_PLACES)
    check_home(home)
    with writing():
        lock(places=[cart.pk])
        fresh = Place.objects.select_related("home").get(pk=cart.pk)
        check_cart_home(fresh, home)
        return _say(by=by, at=at, homes=[(fresh, home)])


def set_copy_home(*, by: Person, at: datetime, copy: SetCopy, home: Place | None) -> SetCopy:
    """Where a copy of a set belongs, for all of its pieces that have no home of their own.

    Raises NotAllowed, ``place_not_used``, ``no_home_there``.
    """
    check_can(by, Verb.EDIT_PLACES)
    check_home(home)
    with writing():
        fresh = SetCopy.objects.select_related("tool_set", "home").get(pk=copy.pk)
        apply_edit(by=by, at=at, row=fresh, key=str(fresh), fields={"home": home}, what=SAID)
    return fresh


def belongs_here(*, by: Person, at: datetime, place: Place) -> Said:
    """What lies in the place now, or in places inside it, belongs where it lies; so do the carts
    that stand there. Pieces on a cart that itself stands in the place are left out.

    Raises NotAllowed, ``no_home_there``, ``nothing_here``.
    """
    check_can(by, Verb.EDIT_PLACES)
    check_home(place)
    with writing():
        inside = Place.objects.filter(path__startswith=place.path).exclude(pk=place.pk)
        carts = list(inside.filter(kind__in=("cart", "plate")).select_related("home", "parent"))
        on_carts = tuple(cart.path for cart in carts)
        rows = Piece.objects.filter(place__path__startswith=place.path)
        pieces = [
            piece
            for piece in rows.select_related("home", "place").order_by("code")
            if not piece.place.path.startswith(on_carts) and piece.place.kind not in NO_HOME_KINDS
        ]
        lock(pieces=[piece.pk for piece in pieces], places=[cart.pk for cart in carts])
        homes: list[tuple[Piece | Place, Place | None]] = [(each, each.place) for each in pieces]
        homes += [(cart, cart.parent) for cart in carts if not _rides(cart, carts)]
        if not homes:
            raise _nothing(place.path_name or place.name)
        return _say(by=by, at=at, homes=homes)


def copy_belongs_here(*, by: Person, at: datetime, copy: SetCopy) -> Said:
    """Each piece of the copy belongs where it lies now; those away, lost or on a mill are left
    out. Raises NotAllowed, ``nothing_here``.
    """
    check_can(by, Verb.EDIT_PLACES)
    with writing():
        rows = Piece.objects.filter(allotments__copy=copy, place__is_active=True)
        pieces = list(rows.exclude(place__kind__in=NO_HOME_KINDS).select_related("home", "place"))
        lock(pieces=[piece.pk for piece in pieces])
        if not pieces:
            raise _nothing(str(copy))
        return _say(by=by, at=at, homes=[(piece, piece.place) for piece in pieces])


def take_back(*, by: Person, at: datetime, act: int) -> int:
    """Undo what was said in one act, where nobody said otherwise since; how many were put back.

    Raises NotAllowed, ``unknown_act``.
    """
    check_can(by, Verb.EDIT_PLACES)
    with writing():
        first = Change.objects.filter(pk=act, what=SAID).first()
        if first is None:
            raise ToolingError(
                "unknown_act", _("That is not known here, or was taken back. Load the page again.")
            )
        rows = Change.objects.filter(at=first.at, by_id=first.by_id, what=SAID)
        return sum(_put_back(by=by, at=at, change=row) for row in rows.order_by("pk"))


def _put_back(*, by: Person, at: datetime, change: Change) -> bool:
    rows: dict[str, type[Piece] | type[Place]] = {"Piece": Piece, "Place": Place}
    model = rows.get(change.subject)
    if model is None:
        return False
    row = model.objects.select_related("home").filter(code=change.subject_key).first()
    if row is None or (row.home.code if row.home else None) != change.after.get("home"):
        return False
    home = Place.objects.filter(code=change.before.get("home") or "").first()
    fields = {"home": home}
    return apply_edit(by=by, at=at, row=row, key=row.code, fields=fields, what=TAKEN_BACK)


def _say(*, by: Person, at: datetime, homes: Sequence[tuple[Piece | Place, Place | None]]) -> Said:
    """Write the homes that differ, each with its history row."""
    changed = [(row, home) for row, home in homes if row.home_id != (home.pk if home else None)]
    first: Change | None = None
    for row, home in changed:
        said = record_change(
            by=by,
            at=at,
            subject=row,
            key=row.code,
            what=SAID,
            before={"home": row.home.code if row.home else None},
            after={"home": home.code if home else None},
        )
        first = first or said
        row.home = home
    pieces = [row for row, _home in changed if isinstance(row, Piece)]
    carts = [row for row, _home in changed if isinstance(row, Place)]
    Piece.objects.bulk_update(pieces, ["home"], batch_size=400)
    Place.objects.bulk_update(carts, ["home"], batch_size=400)
    return Said(len(homes), len(changed), first.pk if first else None)


def check_home(home: Place | None) -> None:
    """Raise ``place_not_used`` or ``no_home_there`` where nothing can belong."""
    if home is None:
        return
    check_place_is_used(home)
    if home.kind in NO_HOME_KINDS:
        raise ToolingError(
            "no_home_there",
            _("Nothing belongs in {place}: it is a {kind}. Choose a rack, shelf, bin, peg, cart or "
              "area."),
            place=home.path_name or home.name,
            kind=home.get_kind_display(),
            in_field="home",
        )  # fmt: skip


def no_home_of_a_bin(code: str) -> ToolingError:
    """A count has no home of its own: it belongs with its like."""
    return ToolingError(
        "no_home_there",
        _("{label} is a bin; what is in it belongs with its like. Move the bin, or say where its "
          "pieces belong."),
        label=code[:60],
    )  # fmt: skip


def check_cart_home(cart: Place, home: Place | None) -> None:
    """Raise ``does_not_move`` of what stands, ``place_inside_itself`` of what rides on the cart."""
    if not cart.moves:
        raise ToolingError(
            "does_not_move",
            _("{name} is a {kind} and stands where it is; only carts and plates have a home."),
            name=cart.path_name or cart.name,
            kind=cart.get_kind_display(),
            in_field="home",
        )
    if home is not None and home.path.startswith(cart.path):
        raise Conflict(
            "place_inside_itself",
            _("{cart} cannot belong in {home}: that is {cart} itself or stands on it."),
            cart=cart.name,
            home=home.path_name or home.name,
            in_field="home",
        )


def _rides(cart: Place, carts: Iterable[Place]) -> bool:
    """Whether it stands on another cart that stands here."""
    return any(cart.path.startswith(other.path) and cart.pk != other.pk for other in carts)


def _nothing(where: str) -> ToolingError:
    return Conflict(
        "nothing_here",
        _("Nothing lies in {where} of which it could be said. Scan it there first."),
        where=where,
    )
