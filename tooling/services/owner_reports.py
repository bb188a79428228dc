"""Reports to owners: a customer's tooling was lost, damaged or found unsuitable for use.

A report is opened where the cause is written down, in the same transaction, or by hand. It stays
open until somebody records when and whom the owner was told.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from datetime import datetime

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import Conflict, ToolingError
from tooling.models import (
    NOT_FIT,
    Incident,
    OwnerReport,
    Person,
    Piece,
    ReportKind,
    ReportNote,
    StockLine,
)
from tooling.permissions import Verb, check_can
from tooling.queries.spares import below_least
from tooling.services.approvals import own_tooling
from tooling.services.dimensions import WORDS
from tooling.services.edits import optional_text, require_text
from tooling.services.write import lock, writing

TOLD = "told"
NO_LONGER_LOST = ("found", "settled")
NO_LONGER_OPEN = ("told", "settled")


def open_report(
    *,
    by: Person,
    at: datetime,
    piece: Piece | None = None,
    stock_line: StockLine | None = None,
    quantity: int = 1,
    kind: str,
    what_happened: str,
    incident: Incident | None = None,
) -> OwnerReport | None:
    """Open the report that is owed to the owner of a piece, or of some of a bin; None for the
    shop's own tooling, for which nobody is owed one.

    What is already on an open report is not reported twice: the same loss of a piece until it is
    found again, the same damage until its owner was told, unless another incident did it. Then
    the report that stands is given back. Joins the transaction of its cause. Raises
    ``unknown_kind``, ``one_subject``, ``absurd_count``, ``empty_text``.
    """
    check_can(by, Verb.RECORD_READINGS)
    _check_kind(kind)
    subject = _subject(piece, stock_line)
    if quantity < 1 or (piece is not None and quantity != 1):
        raise ToolingError(
            "absurd_count",
            _("{count} is no quantity to report. Write 1 or more; a marked piece is one."),
            count=quantity,
            in_field="quantity",
        )
    if subject.owner.is_shop:
        return None
    what = require_text(what_happened, field="what_happened", label=_("What happened"), longest=400)
    with writing():
        lock(pieces=[piece.pk] if piece else (), stock=[stock_line.pk] if stock_line else ())
        standing = _standing(subject, kind, incident, at)
        return standing or OwnerReport.objects.create(
            owner_id=subject.owner_id,
            piece=piece,
            stock_line=stock_line,
            quantity=quantity,
            kind=kind,
            what_happened=what,
            incident=incident,
            opened_at=at,
            by=by,
        )


def _check_kind(kind: str) -> None:
    if kind not in ReportKind.values:
        raise ToolingError(
            "unknown_kind",
            _("“{kind}” is no kind of report. Say loss, damage or found unsuitable."),
            kind=kind,
            in_field="kind",
        )


def _subject(piece: Piece | None, stock_line: StockLine | None) -> Piece | StockLine:
    if piece is not None and stock_line is None:
        return piece
    if stock_line is not None and piece is None:
        return stock_line
    raise Conflict(
        "one_subject", _("A report is about one piece, or about some of one bin. Name one of them.")
    )


def _standing(
    subject: Piece | StockLine, kind: str, incident: Incident | None, at: datetime
) -> OwnerReport | None:
    """The report that already says so: of a bin only the one that this very act opened."""
    rows = OwnerReport.objects.filter(kind=kind, owner_id=subject.owner_id).order_by("-pk")
    if isinstance(subject, StockLine):
        return rows.filter(stock_line=subject, opened_at=at).first()
    rows = rows.filter(piece=subject)
    if kind == ReportKind.LOSS:
        return rows.exclude(notes__what__in=NO_LONGER_LOST).first()
    if incident is not None:
        rows = rows.filter(incident=incident)
    return rows.exclude(notes__what__in=NO_LONGER_OPEN).first()


def report_damage(*, by: Person, at: datetime, piece: Piece, before: str, said: str = "") -> None:
    """Report a customer's piece that is in a condition in which no kit may use it and was not
    ``before``. The owner must be loaded. Call inside the write of the cause."""
    if piece.condition in NOT_FIT and before not in NOT_FIT:
        what = _now("Found {condition}.").format(condition=piece.get_condition_display())
        what = f"{what} {said}".strip()[:400]
        open_report(by=by, at=at, piece=piece, kind=ReportKind.DAMAGE, what_happened=what)


def report_unsuitable(*, by: Person, at: datetime, piece_id: int, was_below: str) -> None:
    """Report a customer's piece that measures below its least allowed and did not before:
    ``was_below`` is what `below_least` said then. Call inside the write of the cause."""
    piece = Piece.objects.select_related("owner", "revision").get(pk=piece_id)
    dimension = below_least(piece)
    if dimension and not was_below:
        unit: Unit = "in" if piece.unit == "in" else "mm"
        what = _now("{dimension} measures {now}, below the least allowed {least}.").format(
            dimension=WORDS[dimension],
            now=say_length(getattr(piece, f"now_{dimension}_nm"), unit),
            least=say_length(getattr(piece.revision, f"least_{dimension}_nm"), unit),
        )
        open_report(by=by, at=at, piece=piece, kind=ReportKind.UNSUITABLE, what_happened=what)


def report(
    *,
    by: Person,
    at: datetime,
    piece: Piece | None = None,
    stock_line: StockLine | None = None,
    quantity: int = 1,
    kind: str,
    what_happened: str,
) -> OwnerReport:
    """Open a report by hand. Raises as `open_report`, and Conflict ``own_tooling``."""
    opened = open_report(
        by=by, at=at, piece=piece, stock_line=stock_line, quantity=quantity, kind=kind,
        what_happened=what_happened,
    )  # fmt: skip
    if opened is None:
        raise own_tooling()
    return opened


def add_note(
    *,
    by: Person,
    at: datetime,
    report: OwnerReport,
    what: str,
    happened_at: datetime | None = None,
    whom: str = "",
    note: str = "",
) -> ReportNote:
    """Write down what became of a report: the owner was told (which closes it), answered, the
    piece was found again, the matter is settled.

    Raises ``unknown_note``, ``in_the_future``, ``before_it_happened``, ``empty_text`` (nobody
    named as told), ``long_text``, and Conflict ``owner_not_told`` for an answer or a settlement
    of which the owner has not been told.
    """
    check_can(by, Verb.DEAL_WITH_OWNERS)
    if what not in dict(ReportNote._meta.get_field("what").flatchoices):
        raise ToolingError(
            "unknown_note", _("“{what}” is nothing that becomes of a report."), what=what,
            in_field="what",
        )  # fmt: skip
    happened_at = happened_at or at
    _check_moment(report, happened_at, at)
    read = require_text if what == TOLD else optional_text
    whom = read(whom, field="whom", label=_("Who was told, and how"), longest=120)
    note = optional_text(note, field="note", label=_("Note"), longest=400)
    with writing():
        _hold(report)
        if what in ("answer", "settled") and not report.notes.filter(what=TOLD).exists():
            raise Conflict(
                "owner_not_told",
                _("{owner} has not been told yet. Write down when and whom you told first."),
                owner=report.owner.name,
                in_field="what",
            )
        return ReportNote.objects.create(
            report=report, what=what, happened_at=happened_at, at=at, by=by, whom=whom, note=note
        )


def note_found(
    *, by: Person, at: datetime, pieces: Sequence[Piece], taken_from_the_lost: Container[int] = ()
) -> None:
    """Pieces that were reported lost lie somewhere again: somebody has had them before their eyes
    since, or took them from a place for what is lost. Places must be loaded.

    Call inside the write of what found them; the reports stay open until the owner is told.
    """
    there = {piece.pk: piece for piece in pieces}
    lost = OwnerReport.objects.filter(piece__in=there, kind=ReportKind.LOSS)
    for report in lost.exclude(notes__what__in=NO_LONGER_LOST).order_by("pk"):
        piece = there[report.piece_id or 0]
        is_seen = piece.seen_at is not None and piece.seen_at >= report.opened_at
        if is_seen or piece.pk in taken_from_the_lost:
            place = piece.place.path_name or piece.place.name
            ReportNote.objects.create(
                report=report, what="found", happened_at=min(piece.placed_effective_at or at, at),
                at=at, by=by, note=_now("In {place}.").format(place=place)[:400],
            )  # fmt: skip


def settle_slip(
    *, by: Person, at: datetime, opened_at: datetime, pieces: Iterable[int] = (),
    lines: Iterable[int] = (), kind: str = ReportKind.LOSS,
) -> None:  # fmt: skip
    """The entry from which a loss or damage was reported has been put right: it did not happen.
    Call inside the write of the correction."""
    about = Q(piece__in=set(pieces)) | Q(stock_line__in=set(lines))
    rows = OwnerReport.objects.filter(about, kind=kind, opened_at=opened_at)
    over = NO_LONGER_LOST if kind == ReportKind.LOSS else NO_LONGER_OPEN
    ReportNote.objects.bulk_create(
        ReportNote(
            report=report, what="settled", happened_at=at, at=at, by=by,
            note=_now("The entry was a slip and has been put right."),
        )
        for report in rows.exclude(notes__what__in=over)
    )  # fmt: skip


def _check_moment(report: OwnerReport, happened_at: datetime, at: datetime) -> None:
    if happened_at > at:
        raise ToolingError(
            "in_the_future",
            _("{moment} is still to come. Write when it was."),
            moment=_said(happened_at),
            in_field="happened_at",
        )
    began = report.incident.happened_at if report.incident else report.opened_at
    if happened_at < began.replace(second=0, microsecond=0):
        raise ToolingError(
            "before_it_happened",
            _("{moment} lies before it happened, {began}. Write when it was."),
            moment=_said(happened_at),
            began=_said(began),
            in_field="happened_at",
        )


def _said(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%Y-%m-%d %H:%M}"


def _hold(report: OwnerReport) -> None:
    """Two people do not write about one report at the same moment."""
    if report.piece_id is not None:
        lock(pieces=[report.piece_id])
    elif report.stock_line_id is not None:
        lock(stock=[report.stock_line_id])
