"""What exists already, found the way a sheet names it; grows by what the same import plans."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import ToolingError
from tooling.models import (
    Drawing,
    DrawingRevision,
    Mill,
    Owner,
    Piece,
    PieceAlias,
    Place,
    SetCopy,
    StockLine,
    ToolSet,
)

CHUNK = 400


def plain(text: str | None) -> str:
    """How names are compared: no case, single spaces."""
    return " ".join(str(text or "").split()).casefold()


def chunks(values: Iterable[str]) -> Iterator[list[str]]:
    rest = iter(sorted(set(values)))
    while part := list(islice(rest, CHUNK)):
        yield part


class Known:
    """Indexes by what people write. Pieces are read only where the import names them."""

    def __init__(self) -> None:
        self.owners: dict[str, Owner] = {}
        self.shop: Owner | None = None
        self.places: dict[str, Place] = {}
        self.place_names: dict[str, list[Place]] = {}
        self.drawings: dict[str, Drawing] = {}
        self.revisions: dict[tuple[str, str], DrawingRevision] = {}
        self.current: dict[str, DrawingRevision] = {}
        self.pieces: dict[str, Piece] = {}
        self.by_mark: dict[str, list[Piece]] = {}
        self.stock: dict[tuple[str, str, str, str], StockLine] = {}
        self.sets: dict[str, ToolSet] = {}
        self.copies: dict[tuple[str, str], SetCopy] = {}
        self.mills: dict[str, Mill] = {}
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
            keys = [text.upper() for text in part]
            self._add_all(Piece.objects.filter(mark_key__in=keys))
            self._add_all(Piece.objects.filter(code__in=[fold(text) for text in part]))
            aliases = PieceAlias.objects.filter(text_key__in=keys)
            for alias in aliases.select_related(*(f"piece__{name}" for name in PIECE_RELATIONS)):
                self.add_piece(alias.piece)
                self.pieces[plain(alias.text)] = self.pieces[plain(alias.piece.code)]

    def _add_all(self, rows: QuerySet[Piece]) -> None:
        for piece in rows.select_related(*PIECE_RELATIONS):
            self.add_piece(piece)

    def add_owner(self, owner: Owner) -> None:
        self.owners[plain(owner.code)] = owner
        self.owners.setdefault(plain(owner.name), owner)
        if owner.is_shop:
            self.shop = owner

    def add_place(self, place: Place) -> None:
        self.places[plain(place.path_name)] = place
        self.place_names.setdefault(plain(place.name), []).append(place)

    def add_revision(self, revision: DrawingRevision) -> None:
        number = plain(revision.drawing.number)
        self.revisions[number, plain(revision.revision)] = revision
        if revision.is_current:
            self.current[number] = revision

    def add_piece(self, piece: Piece) -> None:
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
        whole = self.places.get(plain(" / ".join(part.strip() for part in text.split("/"))))
        if whole is not None:
            return whole
        named = self.place_names.get(plain(text.rpartition("/")[2]), [])
        tail = plain(" / ".join(part.strip() for part in text.split("/")))
        fitting = [place for place in named if plain(place.path_name).endswith(tail)]
        if len(fitting) > 1:
            raise ToolingError(
                "ambiguous_place",
                _("“{name}” could be {places}. Write the whole way: “Rack A / Shelf 3”."),
                name=text,
                places=", ".join(place.path_name for place in fitting[:4]),
            )
        found = fitting[0] if fitting else None
        return _found(found, "unknown_place", _("There is no place “{name}”."), text)

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

    def tool_set(self, text: str) -> ToolSet:
        return _found(
            self.sets.get(plain(text)), "unknown_set", _("There is no set “{name}”."), text
        )

    def mill(self, text: str) -> Mill:
        return _found(
            self.mills.get(plain(text)), "unknown_mill", _("There is no mill “{name}”."), text
        )


PIECE_RELATIONS = ("drawing", "revision", "owner", "place")


def _found(found: Any, code: str, template: Any, name: str) -> Any:
    if found is None:
        raise ToolingError(code, template, name=name)
    return found
