"""The condition of a piece as people say it; stopping a piece at once, and lifting its hold.

Build-up is not wear: it is cleaned off, and the piece measured again.
"""

from __future__ import annotations

import uuid as uuids
from datetime import datetime, timedelta

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    NOT_FIT,
    Change,
    Condition,
    Incident,
    IncidentKind,
    IncidentPiece,
    Person,
    Piece,
    ReportKind,
)
from tooling.permissions import Verb, can, check_can
from tooling.services.edits import apply_edit, optional_text, require_text
from tooling.services.incidents import Where, hold_reason, unknown_condition, where_it_is
from tooling.services.owner_reports import open_report, report_damage, settle_slip
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock, writing

UNDO_WITHIN = timedelta(minutes=10)
"""How long whoever stopped the wrong roll may take it back without asking anybody."""


class StopFor(TextChoices):
    """Why a piece is stopped, as one tap says it."""

    CHIPPED = "chipped", _("chipped")
    CRACKED = "cracked", _("cracked")
    MARKED = "marked", _("marked")
    BUILD_UP = "build_up", _("build-up")
    CHROME_WORN = "chrome_worn", _("chrome worn")
    DROPPED = "dropped", _("dropped")
    IN_DOUBT = "in_doubt", _("something else, in doubt")


KINDS: dict[str, IncidentKind] = {
    StopFor.CHIPPED: IncidentKind.CHIP,
    StopFor.CRACKED: IncidentKind.CRACK,
    StopFor.BUILD_UP: IncidentKind.BUILD_UP,
    StopFor.DROPPED: IncidentKind.DROP,
}
NO_DAMAGE = (StopFor.BUILD_UP, StopFor.IN_DOUBT)
CHOSEN = tuple(each for each in Condition if each not in (Condition.HOLD, Condition.NEW))
PROVED = (Condition.CLEAN, Condition.SOUND)
"""The conditions that a person can say a piece is in; a hold has its own way."""


def stop(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    what: str,
    note: str = "",
    uuid: uuids.UUID | None = None,
) -> Incident:
    """Hold a piece at once and write down why, as an incident that pictures can be put with.

    Where it was at work is read from its place. A customer's piece that is damaged is reported
    to its owner. The same ``uuid`` again writes nothing. Raises ``unknown_stop``,
    ``long_text``, Conflict ``held_already``.
    """
    check_can(by, Verb.STOP_PIECES)
    if what not in StopFor.values:
        raise ToolingError(
            "unknown_stop",
            _("“{what}” is no reason to stop a piece. Choose one of: {reasons}."),
            what=what,
            reasons=", ".join(str(label) for label in StopFor.labels),
            in_field="what",
        )
    note = optional_text(note, field="note", label=_("Note"), longest=200)
    said = note if note and what == StopFor.IN_DOUBT else str(StopFor(what).label)
    with writing():
        lock(pieces=[piece.pk])
        before = Incident.objects.filter(uuid=uuid).first() if uuid else None
        if before is not None:
            return before
        fresh = Piece.objects.select_related("owner", "place").get(pk=piece.pk)
        if fresh.condition == Condition.HOLD:
            raise _held_already(fresh)
        incident = _incident(by, at, fresh, what, said, note, uuid)
        _hold(by=by, at=at, piece=fresh, why=hold_reason(incident, said), reason=note or said)
        if what not in NO_DAMAGE:
            open_report(
                by=by, at=at, piece=fresh, kind=ReportKind.DAMAGE, incident=incident,
                what_happened=hold_reason(incident, f"{said}. {note}".removesuffix(". ")),
            )  # fmt: skip
    return incident


def hold_piece(*, by: Person, at: datetime, piece: Piece, reason: str) -> Piece:
    """Hold a piece in doubt, for a reason in words and with no incident: no kit may stage it
    until somebody lifts the hold. Raises ``empty_text`` without a reason."""
    check_can(by, Verb.STOP_PIECES)
    reason = require_text(reason, field="reason", label=_("Reason"), longest=200)
    with writing():
        lock(pieces=[piece.pk])
        fresh = Piece.objects.select_related("owner").get(pk=piece.pk)
        _hold(by=by, at=at, piece=fresh, why=reason, reason=reason)
    return fresh


def undo_stop(*, by: Person, at: datetime, incident: Incident) -> Incident:
    """The wrong roll was stopped: whoever did it takes it back within ten minutes, and the
    piece is as it was. Raises Conflict ``too_late_to_undo``."""
    check_can(by, Verb.STOP_PIECES)
    with writing():
        touched = incident.pieces.select_related("piece").order_by("piece__code").first()
        if touched is None:
            raise Conflict("not_held", _("This incident holds nothing."))
        lock(pieces=[touched.piece_id])
        held = _newest_change(touched.piece)
        is_ours = incident.by_id == by.pk and at - incident.at <= UNDO_WITHIN
        is_newest = held is not None and (held.what, held.at) == ("held", incident.at)
        if not is_ours or not is_newest or hasattr(incident, "corrected_by"):
            raise Conflict(
                "too_late_to_undo",
                _("{code} stays held: only whoever stopped it takes that back, within "
                  "{minutes} minutes. {who} may lift the hold."),
                code=touched.piece.code,
                minutes=UNDO_WITHIN.seconds // 60,
                who=_("An engineer or a supervisor"),
            )  # fmt: skip
        row = Incident.objects.create(
            kind=incident.kind, mill=incident.mill, kit=incident.kit,
            station_number=incident.station_number, pass_number=incident.pass_number,
            happened_at=incident.happened_at, at=at, by=by, corrects=incident,
            note=str(_("The wrong piece was stopped; undone.")),
        )  # fmt: skip
        fields = {"condition": touched.condition_before, "hold_reason": ""}
        _change(by=by, at=at, piece=touched.piece, fields=fields, what="stop undone", reason="")
        settle_slip(
            by=by, at=at, opened_at=incident.at, pieces=[touched.piece_id], kind=ReportKind.DAMAGE
        )
    return row


def lift_hold(*, by: Person, at: datetime, piece: Piece, condition: str, reason: str) -> Piece:
    """Let a held piece go, saying in which condition it was found and why it may go.

    Raises ``unknown_condition``, ``empty_text``, Conflict ``not_held``.
    """
    check_can(by, Verb.LIFT_HOLDS)
    if condition not in CHOSEN:
        raise unknown_condition(condition)
    reason = require_text(reason, field="reason", label=_("Reason"), longest=400)
    with writing():
        lock(pieces=[piece.pk])
        fresh = Piece.objects.select_related("owner").get(pk=piece.pk)
        if fresh.condition != Condition.HOLD:
            raise Conflict("not_held", _("{code} is not held."), code=fresh.code)
        before, fields = fresh.condition, {"condition": condition, "hold_reason": ""}
        _change(by=by, at=at, piece=fresh, fields=fields, what="hold lifted", reason=reason)
        report_damage(by=by, at=at, piece=fresh, before=before, said=reason)
    return fresh


def say_condition(
    *, by: Person, at: datetime, piece: Piece, condition: str, reason: str = ""
) -> Change | None:
    """Say in which condition a piece is; the row of the change, or None when it was so already.

    A customer's piece found cracked or chipped is reported to its owner. What is cracked or
    chipped is said to be better only by who may lift holds, with a reason; what is new is said
    to be good only by who may prove a set. Raises NotAllowed,
    ``unknown_condition``, ``hold_has_its_own_way``, ``long_text``, ``empty_text``, Conflict
    ``piece_held``.
    """
    check_can(by, Verb.STOP_PIECES)
    if condition == Condition.HOLD:
        raise ToolingError(
            "hold_has_its_own_way",
            _("Hold a piece, or lift its hold, on the piece's own page, with a reason."),
            in_field="condition",
        )
    if condition not in CHOSEN:
        raise unknown_condition(condition)
    reason = optional_text(reason, field="reason", label=_("Reason"), longest=400)
    with writing():
        lock(pieces=[piece.pk])
        fresh = Piece.objects.select_related("owner").get(pk=piece.pk)
        if fresh.condition == Condition.HOLD:
            raise _is_held(fresh)
        if fresh.condition in NOT_FIT and condition not in NOT_FIT:
            check_can(by, Verb.LIFT_HOLDS)
            require_text(reason, field="reason", label=_("Reason"), longest=400)
        if fresh.condition == condition:
            return None
        if fresh.condition == Condition.NEW and condition in PROVED:
            check_can(by, Verb.PROVE_SETS)
        before, fields = fresh.condition, {"condition": condition}
        _change(by=by, at=at, piece=fresh, fields=fields, what="condition", reason=reason)
        report_damage(by=by, at=at, piece=fresh, before=before, said=reason)
        return _newest_change(fresh)


def undo_condition(*, by: Person, at: datetime, piece: Piece, change: Change) -> Piece:
    """Put back the condition as it was before the newest change of it, which ``change`` must be.

    Whoever said it may, or who may lift holds. Raises Conflict ``condition_changed``.
    """
    check_can(by, Verb.STOP_PIECES)
    if change.by_id != by.pk and not can(by, Verb.LIFT_HOLDS):
        check_can(by, Verb.LIFT_HOLDS)
    with writing():
        lock(pieces=[piece.pk])
        fresh = Piece.objects.get(pk=piece.pk)
        newest = _newest_change(fresh)
        if newest != change or change.what != "condition":
            raise Conflict(
                "condition_changed",
                _("The condition of {code} was changed again meanwhile. Say it anew."),
                code=fresh.code,
            )
        fields = {"condition": change.before["condition"]}
        _change(by=by, at=at, piece=fresh, fields=fields, what="condition put back", reason="")
        settle_slip(by=by, at=at, opened_at=change.at, pieces=[fresh.pk], kind=ReportKind.DAMAGE)
    return fresh


def _incident(
    by: Person,
    at: datetime,
    piece: Piece,
    what: str,
    said: str,
    note: str,
    uuid: uuids.UUID | None,
) -> Incident:
    where: Where = where_it_is(piece)
    kind = KINDS.get(what, IncidentKind.OTHER)
    words = note if kind != IncidentKind.OTHER or said == note else f"{said}. {note}"
    row = Incident.objects.create(
        uuid=uuid or uuids.uuid4(), kind=kind, mill=where.mill, kit=where.kit,
        station_number=where.station, pass_number=where.set_pass, happened_at=at, at=at, by=by,
        note=words.removesuffix(". "),
    )  # fmt: skip
    IncidentPiece.objects.create(
        incident=row, piece=piece, condition_before=piece.condition, condition_after=Condition.HOLD
    )
    return row


def _hold(*, by: Person, at: datetime, piece: Piece, why: str, reason: str) -> None:
    fields = {"condition": Condition.HOLD, "hold_reason": why}
    _change(by=by, at=at, piece=piece, fields=fields, what="held", reason=reason)


def _change(
    *, by: Person, at: datetime, piece: Piece, fields: dict[str, str], what: str, reason: str
) -> None:
    apply_edit(by=by, at=at, row=piece, key=piece.code, fields=fields, what=what, reason=reason)
    touch_kits_of(pieces=[piece.pk], drawings=[piece.drawing_id])


def _newest_change(piece: Piece) -> Change | None:
    """The newest that touched the condition."""
    rows = Change.objects.filter(subject="Piece", subject_key=piece.code)
    return rows.filter(after__has_key="condition").order_by("-pk").first()


def _held_already(piece: Piece) -> Conflict:
    return Conflict(
        "held_already",
        _("{code} is held already: {reason}. Add a picture on its page, if it shows more."),
        code=piece.code,
        reason=piece.hold_reason or "–",
    )


def _is_held(piece: Piece) -> Conflict:
    return Conflict(
        "piece_held",
        _("{code} is held: {reason}. An engineer or a supervisor says its condition when the "
          "hold is lifted."),
        code=piece.code,
        reason=piece.hold_reason or "–",
    )  # fmt: skip
