"""Assembling a kit: one copy of the set whole, then what it lacks from stock and free pieces.

Running it again changes nothing unless something did: claims that can be used stay as they are.
Spacers that fill the shafts are none of its business; where other rolls no longer go with them,
they are taken out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Allotment, Kit, KitPosition, Person, Piece, SetCopy
from tooling.permissions import Verb, check_can
from tooling.queries.condition_facts import Facts
from tooling.queries.conditions import (
    Asked,
    Question,
    claimed_counts,
    conditions,
    looking_for,
)
from tooling.queries.consents import consents_about
from tooling.queries.kit_views import TROUBLE, State, Verdict
from tooling.queries.kits import WITH_JOB, asked, is_pooled, kit_rows, paper_place
from tooling.queries.shafts import ShaftAt, Stations, stations_of
from tooling.queries.spares import spares
from tooling.queries.stock_conditions import Claimed, spared
from tooling.services.fill_strike import after_rolls_changed
from tooling.services.kit_state import check_open, save_claims
from tooling.services.kit_substitutes import Lacking, best_pieces
from tooling.services.write import lock, record_change, writing

LACKING = TROUBLE - {State.MAY_NOT_LAST}
"""States in which a claim is given up for a substitute, where there is one."""


def assemble(*, by: Person, at: datetime, kit: Kit, copy: SetCopy | None = None) -> Kit:
    """Choose a piece or a count for every position, most positions first.

    ``copy``: which copy of the set to take whole; without it the kit's own, else the one of which
    most can be used. Another copy than before gives up what is not staged yet. A position that
    nothing can fill keeps its own piece, so that the page says what is wrong with it.
    Raises NotAllowed, ``kit_closed``, ``other_set``.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        kit = Kit.objects.select_related(*WITH_JOB).get(pk=kit.pk)
        check_open(kit)
        rows = [row for row in kit_rows(kit) if not row.fill]
        before = {row.pk: _claim(row) for row in rows}
        stations = stations_of([kit.job.mill_id])[kit.job.mill_id]
        kit_copy = _copy_for(kit, copy, rows, stations, at)
        if kit_copy != kit.copy:
            _give_up(rows)
            kit.copy = kit_copy
        _take_copy(kit, rows)
        _fill(kit, rows, stations, at)
        _save(by=by, at=at, kit=kit, rows=rows, before=before)
    kit.refresh_from_db()
    return kit


Claim = tuple[int | None, int | None, bool, str]


def _claim(row: KitPosition) -> Claim:
    return (row.piece_id, row.stock_line_id, row.is_substitute, row.substitute_reason)


def _copy_for(
    kit: Kit,
    wanted: SetCopy | None,
    rows: Sequence[KitPosition],
    stations: Stations,
    at: datetime,
) -> SetCopy | None:
    """The copy asked for, the kit's own, or the one with the fewest positions in trouble."""
    if wanted is not None and wanted.tool_set_id != kit.job.tool_set_id:
        raise ToolingError(
            "other_set",
            _("Copy {copy} is of another set than job {job} runs. Choose a copy of {set}."),
            copy=wanted,
            job=kit.job.number,
            set=kit.job.tool_set.number,
            in_field="copy",
        )
    if wanted is None and kit.copy is not None:
        return kit.copy
    copies = list(
        SetCopy.objects.filter(tool_set=kit.job.tool_set_id)
        .select_related("home")
        .order_by("letter")
    )
    if wanted is not None:
        return next(copy for copy in copies if copy.pk == wanted.pk)
    if len(copies) < 2:
        return copies[0] if copies else None
    usable = [_usable(kit, copy, rows, stations, at) for copy in copies]
    return copies[usable.index(max(usable))]


def _usable(
    kit: Kit, copy: SetCopy, rows: Sequence[KitPosition], stations: Stations, at: datetime
) -> int:
    """Of how many positions this copy has a piece that can be used."""
    if copy.from_paper_count is not None:
        return min(copy.from_paper_count, len(rows)) - len(rows)
    allotted = _allotted(copy)
    questions = [
        Asked(
            key=row.pk,
            drawing=row.drawing,
            piece=allotted[row.set_position_id or 0],
            shaft=_shaft(row, stations),
        )
        for row in rows
        if row.set_position_id in allotted
    ]
    answers = conditions([Question(kit.job, kit.pk, questions)], at=at, offer=False)
    return sum(verdict.state not in LACKING for verdict in answers.verdicts.values())


def _shaft(row: KitPosition, stations: Stations) -> ShaftAt | None:
    station = stations.get(row.station_number)
    return station.shafts.get(row.shaft) if station else None


def _allotted(copy: SetCopy) -> dict[int, Piece]:
    rows = Allotment.objects.filter(copy=copy).select_related(
        "piece__revision", "piece__owner", "piece__place"
    )
    return {row.position_id: row.piece for row in rows}


def _give_up(rows: Sequence[KitPosition]) -> None:
    for row in rows:
        if not row.is_staged:
            _set(row)


def _set(row: KitPosition, *, piece: Piece | None = None, reason: str = "") -> None:
    """Claim a piece or, without one, one of the drawing's count from a bin still to be chosen."""
    row.piece, row.stock_line = piece, None
    row.is_substitute, row.substitute_reason = bool(reason), reason[:300]


def _take_copy(kit: Kit, rows: Sequence[KitPosition]) -> None:
    """Every position that claims nothing takes the copy's piece, but never one that its owner
    does not let this job have."""
    if kit.copy is None:
        return
    allotted = _allotted(kit.copy)
    used = {row.piece_id for row in rows}
    consents = consents_about(allotted.values(), [kit.job])
    for row in rows:
        piece = allotted.get(row.set_position_id or 0)
        if row.piece is not None or row.stock_line_id is not None or piece is None:
            continue
        right = piece.drawing_id == row.drawing_id and consents.lets(piece, kit.job)
        if right and piece.pk not in used:
            _set(row, piece=piece)
            used.add(piece.pk)


def _fill(kit: Kit, rows: Sequence[KitPosition], stations: Stations, at: datetime) -> None:
    asking = [asked(kit, row, stations) for row in rows]
    answers = conditions([Question(kit.job, kit.pk, asking)], at=at, offer=False)
    facts = answers.facts[0]
    lacking = [
        row for row in rows if answers.verdicts[row.pk].state in LACKING and not row.is_staged
    ]
    reasons = {row.pk: _reason(kit, row, answers.verdicts[row.pk]) for row in lacking}
    left = _from_stock(lacking, claimed_counts(facts, asking), facts, reasons)
    found = spares(looking_for(facts), {row.drawing_id for row in left})
    used = {row.piece_id for row in rows if row.piece_id is not None}
    chosen = best_pieces(Lacking(rows, left, found, facts, stations, used))
    for row in left:
        piece = chosen.get(row.pk)
        if piece is not None:
            _set(row, piece=piece, reason=reasons[row.pk])
        elif row.piece is None and is_pooled(kit, row):
            _set(row)


def _reason(kit: Kit, row: KitPosition, verdict: Verdict) -> str:
    """Why a substitute stands here; empty for what no copy is expected to have."""
    if row.piece is not None:
        return f"{row.piece.code}: {verdict.reason}"
    if row.stock_line_id is not None:
        return verdict.reason
    if kit.copy is None or paper_place(kit, row):
        return _now("No copy of the set is known piece by piece.")
    return _now("Copy {letter} has no piece for it.").format(letter=kit.copy.letter)


def _from_stock(
    lacking: Sequence[KitPosition],
    claimed: Sequence[Claimed],
    facts: Facts,
    reasons: Mapping[int, str],
) -> list[KitPosition]:
    """Give lacking positions what can be spared of a count when the kit gathers; the rest is
    given back. What pooled stock fills is no substitute unless it stands in for a piece.
    """
    waiting = {row.pk for row in lacking}
    settled = [each for each in claimed if not each.is_staged and each.key not in waiting]
    left, spare = [], dict[int, int]()
    for row in lacking:
        drawing = row.drawing_id
        if drawing not in spare:
            wanted = sum(each.drawing_id == drawing for each in lacking)
            own = [each for each in settled if each.drawing.pk == drawing]
            spare[drawing] = spared(facts, drawing, own, wanted)
        if spare[drawing] <= 0:
            left.append(row)
            continue
        spare[drawing] -= 1
        _set(row, reason=reasons[row.pk] if row.piece is not None else "")
    return left


def _save(
    *,
    by: Person,
    at: datetime,
    kit: Kit,
    rows: Sequence[KitPosition],
    before: Mapping[int, Claim],
) -> None:
    changed = [row for row in rows if _claim(row) != before[row.pk]]
    kit.assembled_at = at
    pooled = {row.drawing_id for row in rows if is_pooled(kit, row)}
    was = Kit.objects.values("copy_id", "assembled_at").get(pk=kit.pk)
    if not changed and was["assembled_at"] is not None and was["copy_id"] == kit.copy_id:
        return
    Kit.objects.filter(pk=kit.pk).update(copy=kit.copy, assembled_at=at)
    freed = {before[row.pk][0] for row in changed}
    save_claims(
        by=by,
        at=at,
        kit=kit,
        rows=changed,
        freed={pk for pk in freed if pk is not None},
        drawings=pooled,
    )
    after_rolls_changed(by=by, at=at, kit=kit, rows=changed)
    record_change(
        by=by,
        at=at,
        subject=kit,
        key=kit.number,
        what="assembled",
        after={
            "copy": kit.copy.letter if kit.copy else "",
            "claims": {_said(row): _code(row) for row in changed},
        },
    )


def _said(row: KitPosition) -> str:
    return f"pass {row.pass_number} {row.shaft} {row.order}"


def _code(row: KitPosition) -> str:
    if row.piece is not None:
        return row.piece.code
    return row.stock_line.code if row.stock_line is not None else ""
