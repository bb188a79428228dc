"""Choosing by hand what fills a position of a kit, and letting go of it."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import (
    NOT_FIT,
    Allotment,
    Kit,
    KitPosition,
    OldPieces,
    Person,
    Piece,
    StockLine,
)
from tooling.permissions import Verb, check_can
from tooling.queries.consents import consents_about
from tooling.queries.kit_words import where_words
from tooling.queries.old_pieces import chains_of, ruling
from tooling.queries.shafts import FitsOn, stations_of
from tooling.queries.spares import below_least
from tooling.queries.whereabouts import GONE_KINDS, whereabouts
from tooling.services.fill_strike import after_rolls_changed
from tooling.services.kit_state import check_open, save_claims
from tooling.services.write import lock, record_change, writing


def find_position(*, kit: Kit, position: int) -> KitPosition:
    """The kit's position of this id. Raises Unknown ``unknown_position``."""
    found = KitPosition.objects.filter(kit=kit, pk=position).first()
    if found is None:
        raise Unknown(
            "unknown_position",
            _("Kit {kit} has no such position. Open its page again."),
            kit=kit.number,
        )
    return found


def choose(
    *,
    by: Person,
    at: datetime,
    kit: Kit,
    position: KitPosition,
    piece: Piece | None = None,
    line: StockLine | None = None,
    reason: str = "",
) -> KitPosition:
    """Claim this piece, or one of this bin's count, for a position in place of what it claims.

    A piece that is out, held or reserved may be claimed for later; staging asks again.
    Raises NotAllowed, ``kit_closed``, ``other_drawing``, ``piece_gone``, ``piece_not_fit``,
    ``owner_approval_missing``, ``piece_taken``, ``does_not_fit``, ``piece_in_kit``.
    """
    check_can(by, Verb.GATHER_KITS)
    if (piece is None) == (line is None):
        raise TypeError("choose a piece or a bin")
    with writing():
        lock(kits={kit.pk}, pieces={piece.pk} if piece else (), stock={line.pk} if line else ())
        row = _row(kit, position)
        if piece is not None:
            rows = Piece.objects.select_related("drawing", "revision", "owner", "place")
            piece = rows.get(pk=piece.pk)
            _check_piece(row, piece)
        if line is not None:
            line = StockLine.objects.select_related("drawing", "owner").get(pk=line.pk)
            _check_line(row, line)
        if (row.piece_id, row.stock_line_id) == (piece and piece.pk, line and line.pk):
            return row
        _claim(by=by, at=at, row=row, piece=piece, line=line, reason=reason)
    row.refresh_from_db()
    return row


def release(
    *, by: Person, at: datetime, kit: Kit, position: KitPosition, reason: str = ""
) -> KitPosition:
    """The position claims nothing any more. Raises NotAllowed, ``kit_closed``."""
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        row = _row(kit, position)
        if row.piece_id is not None or row.stock_line_id is not None:
            _claim(by=by, at=at, row=row, piece=None, line=None, reason=reason)
    row.refresh_from_db()
    return row


def _row(kit: Kit, position: KitPosition) -> KitPosition:
    rows = KitPosition.objects.select_related(
        "kit__job", "drawing", "piece", "stock_line", "set_position"
    )
    row = rows.get(pk=position.pk, kit=kit)
    check_open(row.kit)
    return row


def _claim(
    *,
    by: Person,
    at: datetime,
    row: KitPosition,
    piece: Piece | None,
    line: StockLine | None,
    reason: str,
) -> None:
    before = row.piece or row.stock_line
    freed = {row.piece_id} if row.piece_id is not None else set()
    row.piece, row.stock_line = piece, line
    row.is_substitute = piece is not None and not _is_allotted(row, piece)
    said = " ".join(reason.split())[:300]
    row.substitute_reason = (
        (said or _now("Chosen by {name}.").format(name=by)) if row.is_substitute else ""
    )
    save_claims(by=by, at=at, kit=row.kit, rows=[row], freed=freed)
    if not row.fill:
        after_rolls_changed(by=by, at=at, kit=row.kit, rows=[row])
    after = piece or line
    record_change(
        by=by,
        at=at,
        subject=row.kit,
        key=row.kit.number,
        what="chosen" if after else "released",
        before={_said(row): before.code if before else ""},
        after={_said(row): after.code if after else ""},
        reason=said,
    )


def _is_allotted(row: KitPosition, piece: Piece) -> bool:
    return Allotment.objects.filter(
        copy=row.kit.copy_id, position=row.set_position_id, piece=piece
    ).exists()


def _said(row: KitPosition) -> str:
    return f"pass {row.pass_number} {row.shaft} {row.order}"


def _check_line(row: KitPosition, line: StockLine) -> None:
    _check_drawing(row, line.code, line.drawing_id, line.drawing.number)
    if line.condition in NOT_FIT:
        raise Conflict(
            "piece_not_fit",
            _("What is in bin {code} is {condition}. Choose another."),
            code=line.code,
            condition=line.get_condition_display(),
            in_field="code",
        )
    _check_owner(row, line)


def _check_drawing(row: KitPosition, code: str, drawing_id: int, number: str) -> None:
    if drawing_id != row.drawing_id:
        raise Conflict(
            "other_drawing",
            _("{code} is made to {made}; {where} calls for {wanted}."),
            code=code,
            made=number,
            wanted=row.drawing.number,
            where=where_words(row.pass_number, row.shaft, row.order),
            in_field="code",
        )


def _check_piece(row: KitPosition, piece: Piece) -> None:
    _check_drawing(row, piece.code, piece.drawing_id, piece.drawing.number)
    beyond = whereabouts().beyond_reach(piece.place)
    if beyond is not None and beyond.kind in GONE_KINDS:
        raise Conflict(
            "piece_gone",
            _("{code} is {place}. Find it first, or choose another."),
            code=piece.code,
            place=beyond.get_kind_display(),
            in_field="code",
        )
    if piece.condition in NOT_FIT or below_least(piece):
        raise Conflict(
            "piece_not_fit",
            _("{code} is worn or damaged and no kit may use it. Choose another."),
            code=piece.code,
            in_field="code",
        )
    _check_revision(piece)
    _check_owner(row, piece)
    _check_claims(row, piece)
    _check_shaft(row, piece)


def _check_revision(piece: Piece) -> None:
    """One that a newer revision scraps is chosen by no kit; one to be reworked may be, for
    later."""
    if piece.revision.is_current:
        return
    ruled = ruling(piece.revision, chains_of([piece.drawing_id]).get(piece.drawing_id, ()))
    if ruled is not None and ruled.what == OldPieces.SCRAP:
        raise Conflict(
            "piece_not_fit",
            _("{code}: {ruling} Choose another."),
            code=piece.code,
            ruling=ruled.said,
            in_field="code",
        )


def _check_owner(row: KitPosition, owned: Piece | StockLine) -> None:
    job = row.kit.job
    consents = consents_about([owned], [job])
    if not consents.lets(owned, job):
        raise Conflict(
            "owner_approval_missing",
            _("{code} is not for job {job}. {why} Choose another, or ask {owner}."),
            code=owned.code,
            owner=owned.owner.name,
            why=consents.why_not(owned, job),
            job=job.number,
            in_field="code",
        )


def _check_claims(row: KitPosition, piece: Piece) -> None:
    claims = KitPosition.objects.filter(piece=piece, is_open=True).exclude(pk=row.pk)
    for claim in claims.select_related("kit__job"):
        where = where_words(claim.pass_number, claim.shaft, claim.order)
        if claim.kit_id == row.kit_id:
            raise Conflict(
                "piece_in_kit",
                _("{code} already fills {where} of this kit. Release it there first."),
                code=piece.code,
                where=where,
                in_field="code",
            )
        if claim.holds_piece:
            raise Conflict(
                "piece_taken",
                _("{code} is staged for kit {kit} (job {job}), {where}. Choose another."),
                code=piece.code,
                kit=claim.kit.number,
                job=claim.kit.job.number,
                where=where,
                in_field="code",
            )


def _check_shaft(row: KitPosition, piece: Piece) -> None:
    station = stations_of([row.kit.job.mill_id])[row.kit.job.mill_id].get(row.station_number)
    shaft = station.shafts.get(row.shaft) if station else None
    finding = FitsOn().problem(piece, shaft)
    if finding is not None:
        unit: Unit = "in" if piece.unit == "in" else "mm"
        raise ToolingError(
            "does_not_fit",
            "{sentence}",
            sentence=finding.text(lambda nm: say_length(nm, unit)),
            in_field="code",
        )
