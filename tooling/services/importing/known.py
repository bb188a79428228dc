"""What exists already, found the way a sheet names it; grows by what the same import plans.

Owners, places, sets, copies and mills are held; drawings, pieces and stock are read for each part
of the rows anew, from the shop's tables and from the plan's (``known_records``).
"""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import KINDS, fold, read_code
from tooling.errors import ToolingError
from tooling.models import (
    Drawing,
    DrawingRevision,
    LabelEvent,
    Mill,
    Owner,
    Piece,
    Place,
    SetCopy,
    StockLine,
    ToolSet,
)
from tooling.queries.shop_zone import by_the_clock, shop_zone
from tooling.services.importing.stage import Stage

MOST_DRAWINGS = 1_000
READ_IN_PARTS = "RSDLHB"
"""The letters of labels of pieces and stock lines."""


def plain(text: str | None) -> str:
    """How names are compared: no case, single spaces."""
    return " ".join(str(text or "").split()).casefold()


class Known:
    """Indexes by what people write."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.owners: dict[str, Owner] = {}
        self.owner_codes: dict[str, Owner] = {}
        self.owner_keys: dict[int, Owner] = {}
        self.shop: Owner | None = None
        self.places: dict[str, Place] = {}
        self.place_names: dict[str, list[Place]] = {}
        self.place_codes: dict[str, Place] = {}
        self.place_keys: dict[int, Place] = {}
        self.nowhere: Place | None = None
        self.sets: dict[str, ToolSet] = {}
        self.set_keys: dict[int, ToolSet] = {}
        self.copies: dict[tuple[str, str], SetCopy] = {}
        self.copy_keys: dict[int, SetCopy] = {}
        self.mills: dict[str, Mill] = {}
        self.held: dict[Any, Any] = {}
        void = LabelEvent.objects.filter(what="void").values_list("code", flat=True)
        self.labels: set[str] = set(void)
        self.zone = shop_zone()
        self._read_small_tables()
        self._forget_drawings()
        self.begin_part()

    def moment(self, day: date, hour: time, *, in_field: str) -> datetime:
        """A day and time as the shop's clock showed them; of a time that came twice the first.

        Raises ToolingError ``no_such_time`` where the clock was put on over it.
        """
        try:
            return by_the_clock(datetime.combine(day, hour), self.zone, first_of_two=True)
        except ToolingError as error:
            error.values["in_field"] = in_field
            raise

    def begin_part(self) -> None:
        """Forget the records of the part before, but for drawings while they are not many."""
        if len(self.drawing_keys) > MOST_DRAWINGS:
            self._forget_drawings()
        self.pieces: dict[str, Piece] = {}
        self.piece_keys: dict[int, Piece] = {}
        self.by_mark: dict[str, list[Piece]] = {}
        self.stock: dict[tuple[str, str, str, str], StockLine] = {}
        self.part_labels: set[str] = set()

    def _forget_drawings(self) -> None:
        self.drawings: dict[str, Drawing] = {}
        self.drawing_keys: dict[int, Drawing] = {}
        self.revisions: dict[tuple[str, str], DrawingRevision] = {}
        self.revision_keys: dict[int, DrawingRevision] = {}
        self.current: dict[str, DrawingRevision] = {}

    def _read_small_tables(self) -> None:
        for owner in Owner.objects.all():
            self.add_owner(owner)
        places = list(Place.objects.all())
        self.place_keys = {place.pk: place for place in places}
        for place in places:
            place.parent = self.place_keys.get(place.parent_id or 0)
            place.home = self.place_keys.get(place.home_id or 0)
            self.add_place(place)
        for tool_set in ToolSet.objects.select_related("customer"):
            self.add_set(tool_set)
            self.labels.add(tool_set.code)
        for copy in SetCopy.objects.all():
            copy.tool_set = self.set_keys[copy.tool_set_id]
            copy.home = self.place_keys.get(copy.home_id or 0)
            copy.owner = self.owner_keys.get(copy.owner_id or 0)
            self.add_copy(copy)
        for mill in Mill.objects.select_related("place"):
            self.mills[plain(mill.number)] = mill

    def add_owner(self, owner: Owner) -> None:
        self.owner_codes[plain(owner.code)] = owner
        self.owners[plain(owner.code)] = owner
        self.owners.setdefault(plain(owner.name), owner)
        self.owner_keys[owner.pk] = owner
        if owner.is_shop:
            self.shop = owner

    def add_place(self, place: Place) -> None:
        self.places[plain(place.path_name)] = place
        self.place_names.setdefault(plain(place.name), []).append(place)
        self.place_keys[place.pk] = place
        if place.kind == "unknown" and self.nowhere is None:
            self.nowhere = place
        if place.code:
            self.place_codes[place.code] = place
            self.labels.add(place.code)

    def add_set(self, tool_set: ToolSet) -> None:
        self.sets[plain(tool_set.number)] = tool_set
        self.set_keys[tool_set.pk] = tool_set

    def add_copy(self, copy: SetCopy) -> None:
        self.copies[plain(copy.tool_set.number), copy.letter] = copy
        self.copy_keys[copy.pk] = copy

    def add_drawing(self, drawing: Drawing) -> None:
        self.drawings[plain(drawing.number)] = drawing
        self.drawing_keys[drawing.pk] = drawing

    def add_revision(self, revision: DrawingRevision) -> None:
        number = plain(revision.drawing.number)
        self.revisions[number, plain(revision.revision)] = revision
        self.revision_keys[revision.pk] = revision
        if revision.is_current:
            self.current[number] = revision

    def add_piece(self, piece: Piece) -> None:
        if piece.pk in self.piece_keys:
            return
        self.piece_keys[piece.pk] = piece
        if piece.code:
            self.part_labels.add(piece.code)
            self.pieces.setdefault(plain(piece.code), piece)
        if piece.mark:
            self.by_mark.setdefault(plain(piece.mark), []).append(piece)

    def add_stock(self, line: StockLine) -> None:
        key = (
            plain(line.drawing.number),
            plain(line.place.path_name),
            line.condition,
            plain(line.owner.code),
        )
        self.stock[key] = line
        self.part_labels.add(line.code)

    def owner(self, text: str | None) -> Owner:
        """Raises ToolingError ``unknown_owner``; the shop itself when nothing is written."""
        if not text:
            if self.shop is None:
                raise ToolingError(
                    "no_shop_owner",
                    _("No owner is marked as the shop itself. Bring a sheet of owners first."),
                )
            return self.shop
        return _found(
            self.owners.get(plain(text)), "unknown_owner", _("There is no owner “{name}”."), text
        )

    def place(self, text: str) -> Place:
        """By its whole path, or by its name where only one place has it."""
        parts = [part.strip() for part in text.split("/")]
        whole = self.places.get(plain(" / ".join(parts))) or self.place_codes.get(fold(text))
        if whole is not None:
            return whole
        named = self.place_names.get(plain(text.rpartition("/")[2]), [])
        tail = plain(" / ".join(parts))
        fitting = [place for place in named if plain(place.path_name).endswith(tail)]
        if len(fitting) > 1:
            raise ToolingError(
                "ambiguous_place",
                _("“{name}” could be {places}. Write the whole way: “Rack A / Shelf 3”."),
                name=text,
                places=", ".join(place.path_name for place in fitting[:4]),
            )
        found = fitting[0] if fitting else self._on_a_cart(parts)
        return _found(found, "unknown_place", _("There is no place “{name}”."), text)

    def cart(self, name: str) -> Place | None:
        """The only cart or plate of this name, wherever it stands today."""
        carts = [place for place in self.place_names.get(plain(name), []) if place.moves]
        return carts[0] if len(carts) == 1 else None

    def _on_a_cart(self, parts: list[str]) -> Place | None:
        """A cart, or something on it, that has moved since the sheet was written."""
        for at in range(len(parts) - 1, -1, -1):
            cart = self.cart(parts[at])
            if cart is not None:
                return self.places.get(plain(" / ".join([cart.path_name, *parts[at + 1 :]])))
        return None

    def label(self, text: str, letter: str) -> str:
        """A label code that a new record brings along, folded and checked.

        Raises ToolingError ``not_a_code``, ``bad_check_character``, ``code_of_another_kind``,
        ``label_twice``.
        """
        code = read_code(text)
        if code.kind != letter:
            raise ToolingError(
                "code_of_another_kind",
                _("{code} is the label of a {kind}; this is a {wanted}. Give its own label, or "
                  "leave the cell blank."),
                code=code.text, kind=code.kind_name, wanted=KINDS[letter],
            )  # fmt: skip
        if code.text in self.labels or code.text in self.part_labels:
            raise ToolingError(
                "label_twice",
                _("{code} is another record's label already, or void. Leave the cell blank."),
                code=code.text,
            )
        (self.part_labels if letter in READ_IN_PARTS else self.labels).add(code.text)
        return code.text

    def drawing(self, text: str) -> Drawing:
        return _found(
            self.drawings.get(plain(text)),
            "unknown_drawing",
            _("There is no drawing “{name}”."),
            text,
        )

    def revision(self, drawing: Drawing, text: str | None) -> DrawingRevision:
        number = plain(drawing.number)
        if not text:
            return _found(
                self.current.get(number),
                "unknown_revision",
                _("Drawing {name} has no current revision."),
                drawing.number,
            )
        return _found(
            self.revisions.get((number, plain(text))),
            "unknown_revision",
            _("There is no revision “{name}”."),
            f"{drawing.number} {text}",
        )

    def piece(self, text: str) -> Piece:
        """By label code or old number, or by mark where only one piece has it."""
        piece = self.pieces.get(plain(text)) or self.pieces.get(plain(fold(text)))
        marked = self.by_mark.get(plain(text), [])
        if piece is None and len(marked) > 1:
            raise ToolingError(
                "ambiguous_mark",
                _("{count} pieces have the mark “{name}”. Give the label code or old number."),
                name=text,
                count=len(marked),
            )
        found = piece or (marked[0] if marked else None)
        return _found(found, "unknown_piece", _("There is no piece “{name}”."), text)

    def coded(self, text: str) -> Piece | None:
        """The piece with this label, if there is one."""
        return self.pieces.get(plain(text)) or self.pieces.get(plain(fold(text)))

    def tool_set(self, text: str) -> ToolSet:
        return _found(
            self.sets.get(plain(text)), "unknown_set", _("There is no set “{name}”."), text
        )

    def mill(self, text: str) -> Mill:
        return _found(
            self.mills.get(plain(text)), "unknown_mill", _("There is no mill “{name}”."), text
        )


def check_label(record: Any, text: str | None) -> None:
    """Refuse another label for a record that has one. Raises ToolingError ``other_label``."""
    if text and record.code and fold(text) != record.code:
        raise ToolingError(
            "other_label",
            _("{record} has the label {code}, not {text}. Leave the cell blank, or issue a new "
              "label on its page."),
            record=record, code=record.code, text=text,
        )  # fmt: skip


def _found(found: Any, code: str, template: Any, name: str) -> Any:
    if found is None:
        raise ToolingError(code, template, name=name)
    return found
