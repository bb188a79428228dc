"""Work done on pieces, typed by a person: past regrinds with diameters before and after.

A recontour makes a piece to a newer revision of its drawing: from then on that is its revision.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    DIAMETERS,
    DIMENSIONS,
    Change,
    DrawingRevision,
    Person,
    Piece,
    Work,
    WorkKind,
    WorkMeasure,
)
from tooling.permissions import Verb, check_can
from tooling.queries.labels import codes_ever
from tooling.queries.spares import below_least
from tooling.services.derived import refresh_sizes
from tooling.services.dimensions import check_present_sizes, dimension_words
from tooling.services.owner_gate import CUTS, check_work
from tooling.services.owner_reports import report_unsuitable
from tooling.services.touched import touch_kits_of
from tooling.services.wear_states import refresh_wear
from tooling.services.write import lock, record_change, writing

RECONTOURED = "recontoured"
Sizes = Mapping[str, tuple[int | None, int | None]]
"""Dimension → (before, after) in nm; either may be unknown."""


def record_work(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    kind: str,
    done_on: date,
    done_by: str = "",
    sizes: Sizes | None = None,
    mark_restored: bool | None = None,
    revision: DrawingRevision | None = None,
    note: str = "",
    corrects: Work | None = None,
) -> Work:
    """Write down a piece of work; the present sizes follow from it where nothing newer says more.

    ``revision``: the one that the work made the piece to; a recontour for which none is named
    made it to the current one. Raises ``unknown_kind``, ``in_the_future``, ``no_sizes``,
    ``cut_made_larger``, ``other_drawing`` and what `check_present_sizes` says;
    ``already_corrected``, ``other_piece`` of a correction; ``owner_approval_missing`` of work
    that cuts a customer's piece without leave.
    """
    check_can(by, Verb.EDIT_RECORDS)
    written = {name for name, pair in (sizes or {}).items() if pair != (None, None)}
    if kind == WorkKind.REGRIND and not written & set(DIAMETERS):
        raise ToolingError(
            "no_sizes",
            _("A regrind changes diameters. Write at least one, before or after."),
            in_field="drive_diameter_after",
        )
    return write_work(
        by=by, at=at, piece=piece, kind=kind, done_on=done_on, done_by=done_by, sizes=sizes,
        mark_restored=mark_restored, revision=revision, note=note, corrects=corrects,
    )  # fmt: skip


def write_work(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    kind: str,
    done_on: date,
    done_by: str = "",
    sizes: Sizes | None = None,
    mark_restored: bool | None = None,
    revision: DrawingRevision | None = None,
    order_reference: str = "",
    cost_cents: int | None = None,
    note: str = "",
    corrects: Work | None = None,
) -> Work:
    """The same for a service that has asked whether the person may: what an order had done."""
    check_kind(kind)
    check_day(done_on, at)
    given = {name: pair for name, pair in (sizes or {}).items() if pair != (None, None)}
    _check_sizes(kind, given)
    with writing():
        lock(pieces=[piece.pk])
        _check_correction(piece, corrects)
        owned = Piece.objects.select_related("owner", "revision").get(pk=piece.pk)
        if corrects is None or corrects.kind not in CUTS:
            check_work(piece=owned, kind=kind, done_on=done_on)
        work = Work.objects.create(
            piece=piece,
            kind=kind,
            done_on=done_on,
            done_by=done_by.strip()[:120],
            mark_restored=mark_restored,
            order_reference=order_reference[:40],
            cost_cents=cost_cents,
            received_at=at,
            by=by,
            corrects=corrects,
            note=note.strip()[:300],
        )
        WorkMeasure.objects.bulk_create(
            WorkMeasure(work=work, dimension=name, **_sizes(before, after))
            for name, (before, after) in given.items()
        )
        _take_revision(by=by, at=at, work=work, corrects=corrects, revision=revision)
        refresh_sizes([piece.pk])
        check_present_sizes(piece_id=piece.pk)
        report_unsuitable(by=by, at=at, piece_id=piece.pk, was_below=below_least(owned))
        refresh_wear([piece.pk], at=at)
        touch_kits_of(pieces=[piece.pk], drawings=[piece.drawing_id])
    return work


def _take_revision(
    *,
    by: Person,
    at: datetime,
    work: Work,
    corrects: Work | None,
    revision: DrawingRevision | None,
) -> None:
    """The revision that the piece is made to after the work; what a corrected entry had made of
    it is taken back first."""
    piece = Piece.objects.select_related("revision__drawing").get(pk=work.piece_id)
    before = piece.revision
    after = _before_that_work(piece, corrects) or before
    if revision is not None and revision.drawing_id != piece.drawing_id:
        raise ToolingError(
            "other_drawing",
            _("{revision} is a revision of another drawing. Make a new piece to that one."),
            revision=revision,
            in_field="revision",
        )
    if revision is None and work.kind == WorkKind.RECONTOUR:
        revision = piece.drawing.revisions.filter(is_current=True).first()
    after = revision or after
    if after.pk == before.pk:
        return
    Piece.objects.filter(pk=piece.pk).update(revision=after)
    record_change(
        by=by,
        at=at,
        subject=piece,
        key=piece.code,
        what=RECONTOURED,
        before={"revision": before.revision},
        after={"revision": after.revision, "work": str(work.uuid)},
    )


def _before_that_work(piece: Piece, corrects: Work | None) -> DrawingRevision | None:
    """The revision before the corrected entry, while the piece still has the one after it."""
    if corrects is None:
        return None
    rows = Change.objects.filter(
        subject="Piece", subject_key__in=codes_ever(piece.code), what=RECONTOURED
    )
    change = rows.filter(after__work=str(corrects.uuid)).first()
    if change is None or change.after["revision"] != piece.revision.revision:
        return None
    return piece.drawing.revisions.filter(revision=change.before["revision"]).first()


def check_kind(kind: str) -> None:
    """Raise ``unknown_kind``."""
    if kind not in WorkKind.values:
        raise ToolingError(
            "unknown_kind", _("“{kind}” is no kind of work."), kind=kind, in_field="kind"
        )


def check_day(done_on: date, at: datetime) -> None:
    """Raise ``in_the_future``."""
    if done_on > timezone.localtime(at).date():
        raise ToolingError(
            "in_the_future",
            _("{day} is still to come. Write the day on which the work was done."),
            day=done_on,
            in_field="done_on",
        )


def _check_sizes(kind: str, given: Sizes) -> None:
    unknown = set(given) - set(DIMENSIONS)
    if unknown:
        raise TypeError(f"no such dimensions: {', '.join(sorted(unknown))}")
    for name, (before, after) in given.items():
        cuts = kind in (WorkKind.REGRIND, WorkKind.FACE) and name in (*DIAMETERS, "face_width")
        if cuts and before is not None and after is not None and after > before:
            raise ToolingError(
                "cut_made_larger",
                _("{dimension}: cutting takes away, yet after is larger than before. Exchange "
                  "the two, or write what was really measured."),
                dimension=dimension_words(name),
                in_field=f"{name}_after",
            )  # fmt: skip


def _check_correction(piece: Piece, corrects: Work | None) -> None:
    if corrects is None:
        return
    if corrects.piece_id != piece.pk:
        raise Conflict("other_piece", _("That work was done on another piece."))
    if Work.objects.filter(corrects=corrects).exists():
        raise Conflict(
            "already_corrected",
            _("This entry has been corrected already. Correct the one that replaced it."),
        )


def _sizes(before: int | None, after: int | None) -> dict[str, Any]:
    return {"before_nm": before, "after_nm": after}
