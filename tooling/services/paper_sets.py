"""A copy of a set known only from paper becomes pieces when it is first handled."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import CODE_LENGTH, fold
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import (
    Allotment,
    DrawingKind,
    DrawingRevision,
    How,
    KitPosition,
    Owner,
    Person,
    Piece,
    Place,
    PlaceKind,
    SetCopy,
    SetPosition,
)
from tooling.permissions import Verb, check_can
from tooling.services import staging
from tooling.services.codes import PIECE_LETTERS, next_codes
from tooling.services.movements import Stamp, add_piece_rows, move_pieces, piece_row, pieces_now
from tooling.services.write import lock, record_change, writing


def unfold(
    *,
    by: Person,
    at: datetime,
    copy: SetCopy,
    handled: SetPosition | None = None,
    to: Place | None = None,
    how: str = How.TICK,
) -> list[Piece]:
    """Make a piece for every position of the copy that has none, allotted and not yet seen.

    They lie where the paper says (the copy's home) and have codes but no printed labels. The
    handled one is then moved to ``to`` and so is seen. Open kits of the copy claim their pieces.
    Raises NotAllowed, ``not_from_paper``, ``set_has_no_positions``.
    """
    check_can(by, Verb.MOVE_PIECES)
    with writing():
        lock(places={copy.home_id} if copy.home_id else ())
        copy = SetCopy.objects.select_related("tool_set", "home", "owner").get(pk=copy.pk)
        lacking = _positions_without_piece(copy)
        _check_from_paper(copy, lacking)
        made = _make_pieces(by=by, at=at, copy=copy, positions=lacking)
        written = copy.from_paper_count
        SetCopy.objects.filter(pk=copy.pk).update(from_paper_count=None)
        _claim_in_open_kits(by=by, at=at, copy=copy, pieces=made, positions=lacking)
        record_change(
            by=by,
            at=at,
            subject=copy,
            key=f"{copy.tool_set.number}-{copy.letter}",
            what="unfolded",
            before={"from_paper_count": written},
            after={"pieces": len(made)},
        )
        if handled is not None and to is not None:
            piece = Piece.objects.get(allotments__copy=copy, allotments__position=handled)
            move_pieces(by=by, at=at, pieces=[piece], to=to, how=how)
    return made


def handle(*, by: Person, at: datetime, copy_id: int, position_id: int, to: str) -> str:
    """Somebody holds the piece of this position: the copy becomes pieces; that piece's code.

    Raises NotAllowed, ``no_place`` when nothing says where it goes, ``unknown_code`` and what
    ``unfold`` raises.
    """
    check_can(by, Verb.MOVE_PIECES)
    if not to:
        raise ToolingError("no_place", _("First scan where: a rack, a cart, a station, a kit."))
    copy = SetCopy.objects.filter(pk=copy_id).first()
    position = SetPosition.objects.filter(pk=position_id).first()
    if copy is None or position is None or position.set_pass.tool_set_id != copy.tool_set_id:
        raise Unknown("unknown_code", _("That set is not known here. Load the page again."))
    unfold(by=by, at=at, copy=copy)
    return Piece.objects.get(allotments__copy=copy, allotments__position=position).code


def _check_from_paper(copy: SetCopy, lacking: Sequence[SetPosition]) -> None:
    if copy.from_paper_count is None:
        raise Conflict(
            "not_from_paper",
            _("Set {set}-{letter} is known piece by piece already."),
            set=copy.tool_set.number,
            letter=copy.letter,
        )
    if not lacking:
        raise ToolingError(
            "set_has_no_positions",
            _("Set {set} has no positions that lack a piece, so nobody can say what the "
              "{count} pieces on paper are. Enter its passes first."),
            set=copy.tool_set.number,
            count=copy.from_paper_count,
        )  # fmt: skip


def _positions_without_piece(copy: SetCopy) -> list[SetPosition]:
    """Positions that hold for every variant, in the order of the strip, that lack a piece."""
    positions = SetPosition.objects.filter(set_pass__tool_set=copy.tool_set, variant=None)
    free = positions.exclude(allotments__copy=copy)
    ordered = free.order_by("set_pass__number", "shaft", "order")
    return list(ordered.select_related("drawing", "set_pass"))


def _make_pieces(
    *, by: Person, at: datetime, copy: SetCopy, positions: Sequence[SetPosition]
) -> list[Piece]:
    home = copy.home or _not_yet_placed()
    owner = copy.owner or Owner.objects.get(is_shop=True)
    revisions = {
        revision.drawing_id: revision
        for revision in DrawingRevision.objects.filter(
            drawing__in={position.drawing_id for position in positions}, is_current=True
        )
    }
    codes = _codes(positions)
    made = Piece.objects.bulk_create(
        Piece(
            code=code,
            drawing=position.drawing,
            revision=_revision(position, revisions),
            owner=owner,
            place=home,
            copy_letter=copy.letter,
            unit=copy.tool_set.unit,
        )
        for position, code in zip(positions, codes, strict=True)
    )
    Allotment.objects.bulk_create(
        Allotment(copy=copy, position=position, piece=piece)
        for position, piece in zip(positions, made, strict=True)
    )
    note = str(_("Entered from paper"))
    rows = [
        piece_row(
            stamp=Stamp.of(at),
            by=by,
            how=How.IMPORT,
            piece_id=piece.pk,
            from_seen_id=None,
            to=home,
            sees=False,
            note=note,
        )
        for piece in made
    ]
    add_piece_rows(rows=rows, now=pieces_now(pk__in=[piece.pk for piece in made]))
    return made


def _revision(position: SetPosition, revisions: dict[int, DrawingRevision]) -> DrawingRevision:
    if position.drawing_id in revisions:
        return revisions[position.drawing_id]
    raise ToolingError(
        "drawing_has_no_revision",
        _("Drawing {number} has no current revision. Enter one before its pieces are made."),
        number=position.drawing.number,
    )


def _codes(positions: Sequence[SetPosition]) -> list[str]:
    letters = [PIECE_LETTERS[DrawingKind(position.drawing.kind)] for position in positions]
    stock = {each: iter(next_codes(kind=each, count=letters.count(each))) for each in set(letters)}
    return [next(stock[letter]) for letter in letters]


def _not_yet_placed() -> Place:
    found = Place.objects.filter(kind=PlaceKind.UNKNOWN, parent=None).first()
    if found is not None:
        return found
    code = next_codes(kind="P")[0]
    name = str(PlaceKind.UNKNOWN.label).capitalize()
    return Place.objects.create(
        code=code, kind=PlaceKind.UNKNOWN, name=name, path=f"/{code}/", path_name=name
    )


def _claim_in_open_kits(
    *,
    by: Person,
    at: datetime,
    copy: SetCopy,
    pieces: Sequence[Piece],
    positions: Sequence[SetPosition],
) -> None:
    by_position = {position.pk: piece for position, piece in zip(positions, pieces, strict=True)}
    waiting = KitPosition.objects.filter(
        kit__copy=copy,
        is_open=True,
        piece=None,
        stock_line=None,
        set_position__in=by_position,
    )
    rows = list(waiting)
    for position in rows:
        position.piece = by_position[position.set_position_id or 0]
    KitPosition.objects.bulk_update(rows, ["piece"])
    staging.restage(by=by, at=at, kit_ids={position.kit_id for position in rows})


def copy_named(text: str, copies: Sequence[SetCopy]) -> SetCopy | None:
    """The copy that a scanned set label means: its letter may follow the code (``T…-B``)."""
    letter = fold(text)[CODE_LENGTH:]
    for copy in copies:
        if letter and fold(copy.letter) == letter:
            return copy
    return copies[0] if len(copies) == 1 and not letter else None
