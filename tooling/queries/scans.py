"""What the Scan page reads: what a code is, what was scanned last, whom a list offers to tick."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, F, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from tooling.errors import ToolingError
from tooling.models import (
    Condition,
    Kit,
    KitPosition,
    KitState,
    Movement,
    Person,
    Piece,
    Place,
    PlaceKind,
    RefusedScan,
    SetCopy,
    SetPosition,
    StockLine,
    ToolSet,
)
from tooling.queries.piece_spot import piece_spot
from tooling.queries.prefixes import capitals
from tooling.queries.scan_lookup import Target, look_up

LAST = 10


@dataclass(frozen=True)
class WhatItIs:
    """A code, mark or name that was read: a place to put things, or a thing and where it is."""

    is_place: bool
    code: str
    name: str
    said: str
    page: str = ""
    """The page's name in the addresses, with ``key`` as what it shows; empty: it has none."""
    key: str = ""

    @property
    def outer(self) -> str:
        """Which of the places of that name it is, or whose kit: what stands around it."""
        return "" if self.said == self.name else self.said.removesuffix(f" / {self.name}")


@dataclass(frozen=True)
class LastScan:
    """One of the last scans: taken, refused or undone."""

    id: uuid.UUID
    code: str
    to: str
    status: str
    said: str
    at: datetime


def what_is(text: str) -> WhatItIs:
    """What somebody scanned or typed. A cart, kit or station is a place to put things.

    Raises what ``Lookup.subject`` and ``Lookup.target`` raise.
    """
    found = look_up([text], [text])
    code = found.code_of(text)
    if code in found.places or code in found.kits or code in found.stations:
        return _a_place(code, found.target(text))
    if not found.marks.get(text.strip().upper()) and found.names.get(text.strip().upper()):
        target = found.target(text)
        return _a_place(target.place.code, target)
    subject = found.subject(text)
    if isinstance(subject, int):
        return _a_piece(subject)
    if isinstance(subject, StockLine):
        said = _("{count} of {what} in {place}").format(
            count=subject.count, what=subject.drawing.number, place=subject.place.path_name
        )
        return WhatItIs(
            False, subject.code, subject.drawing.number, said, "stock-line", subject.code
        )
    return _a_set(subject) if isinstance(subject, ToolSet) else _a_place(code, found.target(text))


def _a_place(code: str, target: Target) -> WhatItIs:
    kit = target.kit
    if kit is not None:
        said = _("Kit {kit} for job {job}").format(kit=kit.number, job=kit.job.number)
        return WhatItIs(True, code, target.place.name, said)
    return WhatItIs(True, code, target.place.name, target.place.path_name)


def _a_piece(key: int) -> WhatItIs:
    piece = Piece.objects.select_related("drawing", "place").get(pk=key)
    spot = piece_spot(piece.pk) if piece.place.kind == PlaceKind.STATION else None
    where = _("in {place}").format(place=piece.place.path_name or piece.place.name)
    said = [
        _("{drawing}, {condition}, {where}").format(
            drawing=piece.drawing.number,
            condition=_condition(piece),
            where=spot.said if spot else where,
        )
    ]
    claims = KitPosition.objects.filter(piece=piece, is_open=True).select_related("kit__job")
    said += [
        _("for kit {kit}, job {job}: pass {number}, {shaft}").format(
            kit=claim.kit.number,
            job=claim.kit.job.number,
            number=claim.pass_number,
            shaft=claim.get_shaft_display(),
        )
        for claim in claims
    ]
    if piece.seen_at is None:
        said.append(_("not yet seen"))
    name = f"{piece.code} ({piece.mark})" if piece.mark else piece.code
    return WhatItIs(False, piece.code, name, "; ".join(said), "piece", piece.code)


def _condition(piece: Piece) -> str:
    if piece.condition != Condition.HOLD:
        return str(piece.get_condition_display())
    return _("held: {reason}").format(reason=piece.hold_reason or "–")


def scanned_piece(*, scan: str, code: str) -> str:
    """The code of the one piece that a scan moved or was refused for, else that the text names.

    At most three queries besides the look-up. Raises what ``Lookup.subject`` raises, and
    ``not_a_piece`` where a whole set, a cart or a bin was scanned.
    """
    try:
        key = uuid.UUID(scan)
    except ValueError:
        codes = set()
    else:
        moved = Movement.objects.filter(scan=key, piece__isnull=False)
        refused = RefusedScan.objects.filter(scan=key, piece__isnull=False)
        codes = {*moved.values_list("piece__code", flat=True)[:2]}
        codes |= {*refused.values_list("piece__code", flat=True)[:2]}
    if len(codes) == 1:
        return str(codes.pop())
    found = what_is(code)
    if found.page != "piece":
        raise ToolingError(
            "not_a_piece",
            gettext_lazy("{name} is no single piece. Scan the roll's own label, then say what is "
                         "wrong with it."),
            name=found.name,
        )  # fmt: skip
    return found.code


def _a_set(tool_set: Any) -> WhatItIs:
    copies = ", ".join(copy.letter for copy in tool_set.copies.order_by("letter"))
    said = _("Tool set {number} {name}, copies {copies}").format(
        number=tool_set.number, name=tool_set.name, copies=copies or "-"
    )
    return WhatItIs(False, tool_set.code, tool_set.number, said, "set", tool_set.number)


def last_scans(person: Person, *, most: int = LAST) -> tuple[LastScan, ...]:
    """The person's last scans, newest first; what one scan moved together is one. Three queries."""
    taken = list(
        Movement.objects.filter(by=person, uuid=F("scan"), corrects=None)
        .select_related("to", "piece", "kit", "corrected_by", "stock__drawing", "cart")
        .order_by("-received_at", "-id")[:most]
    )
    refused = RefusedScan.objects.filter(by=person).order_by("-received_at", "-id")[:most]
    rows = [*_taken_rows(taken, _sizes(taken)), *_refused_rows(refused)]
    return tuple(sorted(rows, key=lambda row: row.at, reverse=True)[:most])


def _sizes(movements: Sequence[Movement]) -> dict[uuid.UUID, int]:
    """How many rows each scan made. One query; a scan's rows were received in one moment."""
    same = Movement.objects.filter(
        received_at__in={each.received_at for each in movements},
        scan__in=[each.scan for each in movements if each.scan is not None],
    )
    counted = same.order_by().values_list("scan").annotate(rows=Count("id"))
    return {scan: rows for scan, rows in counted if scan is not None}


def _taken_rows(movements: Iterable[Movement], sizes: Mapping[uuid.UUID, int]) -> list[LastScan]:
    rows = []
    for movement in movements:
        scan = movement.scan or movement.uuid
        undone = getattr(movement, "corrected_by", None) is not None
        to = movement.kit.number if movement.kit else movement.to.code if movement.to else ""
        rows.append(
            LastScan(
                id=scan,
                code=movement.code_read or _code(movement),
                to=to,
                status="undone" if undone else "taken",
                said=_moved_words(movement, sizes.get(scan, 1)),
                at=movement.received_at,
            )
        )
    return rows


def _moved_words(movement: Movement, count: int) -> str:
    if count == 1:
        words = _("{what} is in {place}.")
        return words.format(what=_subject(movement), place=_place(movement.to))
    words = ngettext(
        "{count} thing was moved at once.", "{count} things were moved at once.", count
    )
    return words.format(count=count)


def _code(movement: Movement) -> str:
    """The label of what was moved by a tick, which read no code."""
    subject = movement.piece or movement.stock or movement.cart
    return subject.code if subject is not None else ""


def _refused_rows(scans: Iterable[RefusedScan]) -> list[LastScan]:
    return [
        LastScan(scan.scan, scan.code_read, scan.to_read, "refused", scan.message, scan.received_at)
        for scan in scans
    ]


def _subject(movement: Movement) -> str:
    if movement.piece is not None:
        return str(movement.piece)
    if movement.stock is not None:
        return f"{movement.quantity} × {movement.stock.drawing.number}"
    return movement.cart.name if movement.cart else "-"


def _place(place: Place | None) -> str:
    return (place.path_name or place.name) if place else "-"


@dataclass(frozen=True)
class Ticked:
    """A piece on a list to tick, for when its label cannot be read."""

    code: str
    mark: str
    drawing: str
    place: str
    is_seen: bool


def kit_to_tick(number: str) -> tuple[Ticked, ...]:
    """The pieces that an open kit still waits for, in the order of the strip. One query."""
    kits = Kit.objects.filter(number=number).values("pk")
    waiting = KitPosition.objects.filter(
        kit__in=kits, is_open=True, is_staged=False, piece__isnull=False
    ).select_related("piece__drawing", "piece__place")
    return tuple(
        Ticked(
            code=each.piece.code,
            mark=each.piece.mark,
            drawing=each.piece.drawing.number,
            place=each.piece.place.path_name,
            is_seen=each.piece.seen_at is not None,
        )
        for each in waiting.order_by("station_number", "shaft", "order")
        if each.piece is not None
    )


def is_recorded(scan: uuid.UUID) -> bool:
    """Whether this scan's id stands for something already, taken or refused."""
    return (
        Movement.objects.filter(uuid=scan).exists()
        or RefusedScan.objects.filter(uuid=scan).exists()
    )


@dataclass(frozen=True)
class Choice:
    """A place to choose where no label is at hand."""

    code: str
    name: str
    kind: str


CHOSEN_KINDS = (
    PlaceKind.PERSON,
    PlaceKind.CART,
    PlaceKind.PLATE,
    PlaceKind.GRINDER,
    PlaceKind.CUSTOMER,
    PlaceKind.LOST,
    PlaceKind.SCRAP,
)
MOST_CHOICES = 80


SMALL_KINDS = (PlaceKind.SHELF, PlaceKind.BIN, PlaceKind.PEG)


def takes_cart(to: str, cart: str) -> bool:
    """Whether a cart that is scanned next to this place is put there. It goes on no other and, as
    it stands on the floor, into no shelf, bin or peg; a plate does. One query at most."""
    if to.startswith("C"):
        return False
    kinds = dict(Place.objects.filter(code__in=[to, cart]).values_list("code", "kind"))
    return not (kinds.get(to) in SMALL_KINDS and kinds.get(cart) == PlaceKind.CART)


def places_to_choose() -> tuple[Choice, ...]:
    """Open kits, then people, carts and the places away from the toolroom. Two queries."""
    kits = Kit.objects.exclude(state=KitState.CLOSED).exclude(place=None).select_related("job")
    places = Place.objects.filter(kind__in=CHOSEN_KINDS, is_active=True)
    return (
        *(
            Choice(kit.number, _("kit for job {job}").format(job=kit.job.number), "kit")
            for kit in kits.order_by("job__gathers_at")[:MOST_CHOICES]
        ),
        *(
            Choice(place.code, place.path_name or place.name, str(place.get_kind_display()))
            for place in places.order_by("kind", "walking_order", "name")[:MOST_CHOICES]
        ),
    )


@dataclass(frozen=True)
class PaperPosition:
    """A position of a set known only from paper: the piece in hand may be this one."""

    copy_id: int
    position_id: int
    set_copy: str
    set_pass: int
    shaft: str
    order: int
    drawing: str


MOST_PAPER = 200


def paper_positions(text: str) -> tuple[PaperPosition, ...]:
    """Positions of sets from paper that answer to a set's number, name or code, or to a drawing.

    Two queries.
    """
    key = text.strip()
    copies: dict[int, list[SetCopy]] = {}
    for copy in SetCopy.objects.filter(from_paper_count__isnull=False).select_related("tool_set"):
        copies.setdefault(copy.tool_set_id, []).append(copy)
    named = (
        Q(set_pass__tool_set__number__iexact=key)
        | Q(set_pass__tool_set__name__iexact=key)
        | Q(set_pass__tool_set__code=key.upper())
        | Q(drawing__number_key__in=capitals(key))
    )
    positions = SetPosition.objects.filter(
        named, variant=None, set_pass__tool_set__in=copies
    ).select_related("drawing", "set_pass")
    ordered = positions.order_by("set_pass__tool_set", "set_pass__number", "-shaft", "order")
    return tuple(
        PaperPosition(
            copy_id=copy.pk,
            position_id=position.pk,
            set_copy=f"{copy.tool_set.number}-{copy.letter}",
            set_pass=position.set_pass.number,
            shaft=str(position.get_shaft_display()),
            order=position.order,
            drawing=position.drawing.number,
        )
        for position in ordered[:MOST_PAPER]
        for copy in copies[position.set_pass.tool_set_id]
    )
