"""What exists already, found the way a sheet names it; grows by what the same import plans."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
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
    PieceAlias,
    Place,
    SetCopy,
    Shop,
    StockLine,
    ToolSet,
)
from tooling.queries.scan_lookup import void_labels

CHUNK = 400


def plain(text: str | None) -> str:
    """How names are compared: no case, single spaces."""
    return " ".join(str(text or "").split()).casefold()


def _upper(text: str) -> tuple[str, str]:
    """As the databases' UPPER gives it: SQLite's knows only the letters A to Z."""
    only_ascii = "".join(each.upper() if each.isascii() else each for each in text)
    return text.upper(), only_ascii


def chunks(values: Iterable[Any]) -> Iterator[list[Any]]:
    """The different values, so many at a time."""
    rest = iter(sorted(set(values)))
    while part := list(islice(rest, CHUNK)):
        yield part


def shop_zone() -> ZoneInfo:
    """The shop's own zone; UTC until it says."""
    shop = Shop.objects.first()
    return ZoneInfo(shop.time_zone if shop else "UTC")


class Known:
    """Indexes by what people write. Pieces are read only where the import names them."""

    def __init__(self) -> None:
        self.owners: dict[str, Owner] = {}
        self.owner_codes: dict[str, Owner] = {}
        self.shop: Owner | None = None
        self.places: dict[str, Place] = {}
        self.place_names: dict[str, list[Place]] = {}
        self.place_codes: dict[str, Place] = {}
        self.place_keys: dict[int, Place] = {}
        self.drawings: dict[str, Drawing] = {}
        self.revisions: dict[tuple[str, str], DrawingRevision] = {}
        self.current: dict[str, DrawingRevision] = {}
        self.pieces: dict[str, Piece] = {}
        self.by_mark: dict[str, list[Piece]] = {}
        self.stock: dict[tuple[str, str, str, str], StockLine] = {}
        self.sets: dict[str, ToolSet] = {}
        self.copies: dict[tuple[str, str], SetCopy] = {}
        self.mills: dict[str, Mill] = {}
        void = LabelEvent.objects.filter(what="void").values_list("code", flat=True)
        self.labels: set[str] = set(void)
        self.zone = shop_zone()
        self._read_small_tables()

    def _read_small_tables(self) -> None:
        for owner in Owner.objects.all():
            self.add_owner(owner)
        for place in Place.objects.select_related("parent"):
            self.add_place(place)
        for drawing in Drawing.objects.all():
            self.drawings[plain(drawing.number)] = drawing
        for revision in DrawingRevision.objects.select_related("drawing"):
            self.add_revision(revision)
        for tool_set in ToolSet.objects.all():
            self.sets[plain(tool_set.number)] = tool_set
            self.labels.add(tool_set.code)
        for copy in SetCopy.objects.select_related("tool_set"):
            self.copies[plain(copy.tool_set.number), copy.letter] = copy
        for mill in Mill.objects.select_related("place"):
            self.mills[plain(mill.number)] = mill

    def read_stock(self) -> None:
        """Stock lines with what names them."""
        for line in StockLine.objects.select_related("drawing", "place", "owner"):
            self.add_stock(line)

    def read_pieces(self, names: Iterable[str]) -> None:
        """The pieces that these codes, old numbers or marks name."""
        wanted = {str(name).strip() for name in names if name}
        for part in chunks(wanted):
            keys = {key for text in part for key in _upper(text)}
            self._add_all(Piece.objects.filter(mark_key__in=keys))
            self._add_all(Piece.objects.filter(code__in=[fold(text) for text in part]))
            aliases = PieceAlias.objects.filter(text_key__in=keys)
            self._add_replaced(part)
            for alias in aliases.select_related(*(f"piece__{name}" for name in PIECE_RELATIONS)):
                self.add_piece(alias.piece)
                self.pieces[plain(alias.text)] = self.pieces[plain(alias.piece.code)]

    def _add_replaced(self, names: list[str]) -> None:
        """Pieces asked for by a label that another has replaced."""
        newer = void_labels([fold(text) for text in names])
        self._add_all(Piece.objects.filter(code__in=[code for code in newer.values() if code]))
        for old, new in newer.items():
            if plain(new) in self.pieces:
                self.pieces[plain(old)] = self.pieces[plain(new)]

    def existing_pieces(self) -> list[int]:
        """The keys of the saved pieces that have been read."""
        return sorted({piece.pk for piece in self.pieces.values() if piece.pk})

    def _add_all(self, rows: QuerySet[Piece]) -> None:
        for piece in rows.select_related(*PIECE_RELATIONS):
            self.add_piece(piece)

    def add_owner(self, owner: Owner) -> None:
        self.owner_codes[plain(owner.code)] = owner
        self.owners[plain(owner.code)] = owner
        self.owners.setdefault(plain(owner.name), owner)
        if owner.is_shop:
            self.shop = owner

    def add_place(self, place: Place) -> None:
        self.places[plain(place.path_name)] = place
        self.place_names.setdefault(plain(place.name), []).append(place)
        if place.code:
            self.place_codes[place.code] = place
            self.labels.add(place.code)
        if place.pk:
            self.place_keys[place.pk] = place

    def add_revision(self, revision: DrawingRevision) -> None:
        number = plain(revision.drawing.number)
        self.revisions[number, plain(revision.revision)] = revision
        if revision.is_current:
            self.current[number] = revision

    def add_piece(self, piece: Piece) -> None:
        self.labels.add(piece.code)
        known = self.pieces.setdefault(plain(piece.code), piece) if piece.code else piece
        if known is piece and piece.mark:
            self.by_mark.setdefault(plain(piece.mark), []).append(piece)

    def add_stock(self, line: StockLine) -> None:
        key = (
            plain(line.drawing.number),
            plain(line.place.path_name),
            line.condition,
            plain(line.owner.code),
        )
        self.stock[key] = line
        self.labels.add(line.code)

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
        if code.text in self.labels:
            raise ToolingError(
                "label_twice",
                _("{code} is another record's label already, or void. Leave the cell blank."),
                code=code.text,
            )
        self.labels.add(code.text)
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


PIECE_RELATIONS = ("drawing", "revision__drawing", "owner", "place")


def _found(found: Any, code: str, template: Any, name: str) -> Any:
    if found is None:
        raise ToolingError(code, template, name=name)
    return found
