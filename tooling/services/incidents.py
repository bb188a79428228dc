"""Incidents: what went wrong, to which pieces, and in which condition each was found.

An incident is history; what was written wrong is put right by a further one that names it. The
condition of each piece changes in the same write, never to a better one: what is held stays held,
and what is cracked or chipped stays so until somebody who may says otherwise.
"""

from __future__ import annotations

import uuid as uuids
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    NOT_FIT,
    Condition,
    Incident,
    IncidentKind,
    IncidentPiece,
    Kit,
    KitPosition,
    Mill,
    Person,
    Piece,
    ReportKind,
    Station,
)
from tooling.permissions import Verb, check_can
from tooling.services.edits import apply_edit, optional_text
from tooling.services.owner_reports import open_report
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock, writing

MOST_PIECES = 500
NO_DAMAGE = (IncidentKind.BUILD_UP, IncidentKind.OTHER)
"""Kinds that by themselves say nothing of damage: build-up is cleaned off."""


@dataclass(frozen=True)
class Touched:
    """A piece that an incident touched, and the condition it is in now; ``hold`` stops it."""

    piece: Piece
    condition: str


@dataclass(frozen=True)
class Where:
    """Where an incident was: on a mill at a station and pass, with a kit; or nowhere of these."""

    mill: Mill | None = None
    kit: Kit | None = None
    station: int | None = None
    set_pass: int | None = None


def report(
    *,
    by: Person,
    at: datetime,
    kind: str,
    happened_at: datetime,
    touched: Sequence[Touched],
    where: Where = Where(),
    note: str = "",
    uuid: uuids.UUID | None = None,
    corrects: Incident | None = None,
) -> Incident:
    """Write an incident down with all that it touched. One that came before by its ``uuid`` is
    given back and nothing is written.

    Raises ``unknown_incident``, ``in_the_future``, ``incident_of_nothing``, ``piece_twice``,
    ``too_many_pieces``, ``unknown_condition``, ``unknown_station``, ``other_mill``,
    ``long_text``, and Conflict ``incident_changed``.
    """
    check_can(by, Verb.STOP_PIECES)
    _check_kind(kind)
    _check_moment(happened_at, at)
    _check_touched(touched, where)
    _check_where(where)
    note = optional_text(note, field="note", label=_("Note"), longest=400)
    with writing():
        before = Incident.objects.filter(uuid=uuid).first() if uuid else None
        if before is not None:
            return before
        _check_newest(corrects)
        row = Incident.objects.create(
            uuid=uuid or uuids.uuid4(), kind=kind, mill=where.mill, kit=where.kit,
            station_number=where.station, pass_number=where.set_pass, happened_at=happened_at,
            at=at, by=by, note=note, corrects=corrects,
        )  # fmt: skip
        said = _already_said(corrects)
        _touch(by=by, at=at, incident=row, touched=touched, said=said)
    return row


def where_it_is(piece: Piece) -> Where:
    """Where the piece is at work: its mill and station, and the open kit that has it. Two
    queries."""
    codes = [code for code in piece.place.path.split("/") if code]
    station = Station.objects.select_related("mill").filter(place__code__in=codes).first()
    claims = KitPosition.objects.filter(piece=piece, is_open=True, holds_piece=True)
    claim = claims.select_related("kit__job__mill").first()
    if station is None and claim is None:
        return Where()
    if claim is None or (station is not None and station.mill_id != claim.kit.job.mill_id):
        return Where(station.mill, None, station.number) if station else Where()
    return Where(
        mill=station.mill if station else None,
        kit=claim.kit,
        station=station.number if station else None,
        set_pass=claim.pass_number,
    )


def hold_reason(incident: Incident, said: str = "") -> str:
    """Why pieces are held after an incident, as every screen says it."""
    words = said or str(incident.get_kind_display())
    if incident.mill is not None and incident.station_number is not None:
        words = _now("{what} on {mill}, station {station}").format(
            what=words, mill=incident.mill.name, station=incident.station_number
        )
    elif incident.mill is not None:
        words = _now("{what} on {mill}").format(what=words, mill=incident.mill.name)
    return words[:200]


def _touch(
    *,
    by: Person,
    at: datetime,
    incident: Incident,
    touched: Sequence[Touched],
    said: Mapping[int, str],
) -> None:
    """Each piece's row, its new condition, and the report owed to its owner."""
    wanted = {each.piece.pk: each.condition for each in touched}
    lock(pieces=wanted)
    pieces = Piece.objects.select_related("owner").in_bulk(wanted)
    rows = []
    for pk, condition in sorted(wanted.items(), key=lambda item: pieces[item[0]].code):
        piece, was = pieces[pk], pieces[pk].condition
        after = _graver(was, condition)
        rows.append(
            IncidentPiece(
                incident=incident, piece=piece, condition_before=was, condition_after=after
            )
        )
        if said.get(pk) != condition:
            _set(by=by, at=at, piece=piece, condition=after, incident=incident)
    IncidentPiece.objects.bulk_create(rows)
    drawings = {piece.drawing_id for piece in pieces.values()}
    touch_kits_of(pieces=wanted, drawings=drawings)


def _set(*, by: Person, at: datetime, piece: Piece, condition: str, incident: Incident) -> None:
    is_stopped = condition == Condition.HOLD and piece.condition != Condition.HOLD
    why = hold_reason(incident) if is_stopped else piece.hold_reason
    apply_edit(
        by=by, at=at, row=piece, key=piece.code,
        fields={"condition": condition, "hold_reason": why},
        what="held" if is_stopped else "condition", reason=hold_reason(incident),
    )  # fmt: skip
    is_damaged = condition in NOT_FIT or (
        condition == Condition.HOLD and incident.kind not in NO_DAMAGE
    )
    if is_damaged:
        what = f"{hold_reason(incident)}. {incident.note}".removesuffix(". ")[:400]
        open_report(
            by=by, at=at, piece=piece, kind=ReportKind.DAMAGE, what_happened=what,
            incident=incident,
        )  # fmt: skip


def _graver(before: str, after: str) -> str:
    """An incident makes nothing better."""
    if before == Condition.HOLD or (before in NOT_FIT and after not in (*NOT_FIT, Condition.HOLD)):
        return before
    return after


def _already_said(corrects: Incident | None) -> dict[int, str]:
    """What the corrected row said of each piece, which its correction need not do again."""
    if corrects is None:
        return {}
    return dict(corrects.pieces.values_list("piece_id", "condition_after"))


def _check_kind(kind: str) -> None:
    if kind not in IncidentKind.values:
        raise ToolingError(
            "unknown_incident",
            _("“{kind}” is no kind of incident. Choose one of: {kinds}."),
            kind=kind,
            kinds=", ".join(str(label) for label in IncidentKind.labels),
            in_field="kind",
        )


def _check_moment(happened_at: datetime, at: datetime) -> None:
    if happened_at > at:
        raise ToolingError(
            "in_the_future",
            _("{moment} is still to come. Write when it was."),
            moment=f"{timezone.localtime(happened_at):%Y-%m-%d %H:%M}",
            in_field="happened_at",
        )


def _check_touched(touched: Sequence[Touched], where: Where) -> None:
    if not touched and where.mill is None:
        raise ToolingError(
            "incident_of_nothing",
            _("Say on which mill it was, or which pieces it touched."),
            in_field="pieces",
        )
    if len(touched) > MOST_PIECES:
        raise ToolingError(
            "too_many_pieces",
            _("{count} pieces are too many for one incident; name {most} at most."),
            count=len(touched),
            most=MOST_PIECES,
            in_field="pieces",
        )
    seen: set[int] = set()
    for each in touched:
        if each.condition not in Condition.values or each.condition == Condition.NEW:
            raise unknown_condition(each.condition)
        if each.piece.pk in seen:
            raise ToolingError(
                "piece_twice",
                _("{code} is named twice. Name it once."),
                code=each.piece.code,
                in_field="pieces",
            )
        seen.add(each.piece.pk)


def unknown_condition(condition: str) -> ToolingError:
    """Not a condition that somebody can find a piece in."""
    found = [str(each.label) for each in Condition if each != Condition.NEW]
    return ToolingError(
        "unknown_condition",
        _("Say in which condition it is: {conditions}."),
        given=condition,
        conditions=", ".join(found),
        in_field="condition",
    )


def _check_where(where: Where) -> None:
    if where.station is not None and (
        where.mill is None or not where.mill.stations.filter(number=where.station).exists()
    ):
        raise ToolingError(
            "unknown_station",
            _("{mill} has no station {station}. Choose one that it has."),
            mill=where.mill or _("No mill"),
            station=where.station,
            in_field="station",
        )
    if where.kit is not None and where.mill is not None and (
        where.kit.job.mill_id != where.mill.pk
    ):  # fmt: skip
        raise ToolingError(
            "other_mill",
            _("Kit {kit} is for {theirs}, not for {mill}. Choose the kit that was on the mill."),
            kit=where.kit.number,
            theirs=where.kit.job.mill.name,
            mill=where.mill.name,
            in_field="kit",
        )


def _check_newest(corrects: Incident | None) -> None:
    if corrects is not None and Incident.objects.filter(corrects=corrects).exists():
        raise Conflict(
            "incident_changed",
            _("Somebody has put this incident right already. Load the page again."),
        )
