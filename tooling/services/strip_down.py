"""Striking a setup down: rows of full pegs with one tap each, counts to their bins, the look over,
and the end of the setup and its kit."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Sequence
from datetime import datetime

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import (
    Change,
    Condition,
    How,
    Movement,
    Person,
    Piece,
    Place,
    Setup,
    SetupState,
    SetupStep,
    ShaftAct,
    ShaftMount,
    StepKind,
)
from tooling.permissions import Verb, check_can
from tooling.queries.strip_down import Reading, note_of, read_strip
from tooling.queries.strip_views import Row
from tooling.services import holds, kits, setup_times
from tooling.services.corrections import undo
from tooling.services.edits import apply_edit
from tooling.services.movements import Stamp
from tooling.services.said_again import check_same
from tooling.services.setup_state import hold_open
from tooling.services.stock_home import put_lines_back
from tooling.services.together import Act, move_together
from tooling.services.write import bump, writing

DIRT = (Condition.DIRTY, Condition.BUILD_UP)
"""What “all clean and sound” takes away."""


def take_off(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    stations: Collection[int],
    gaps: Collection[str] = (),
    takes_all: bool = False,
    act: uuid.UUID | None = None,
) -> uuid.UUID:
    """The pegs of these stations are full, but for the ``gaps`` (codes of pieces that did not come
    off): all else of them is where it goes now, and their shafts are off. One act, undone as one;
    sent again with the same ``act`` it counts once.

    What stays for the next kit stays, unless it ``takes_all``. What is flagged is left to be
    scanned by itself. Raises NotAllowed, ``setup_struck``, ``kit_closed``, ``id_reused``,
    ``nothing_on``, ``not_of_these_rows``, ``nowhere_to_go``, and what moving the pieces may raise.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    key = act or uuid.uuid4()
    with writing():
        setup = hold_open(setup)
        if act is not None and _off_already(setup, key, stations):
            return key
        rows = _rows(read_strip(setup, at=at, takes_all=takes_all), stations)
        _check_gaps(rows, gaps)
        coming = [each for row in rows for each in row.coming if each.code not in set(gaps)]
        lost = next((each for each in coming if each.to is None), None)
        if lost is not None:
            raise Conflict(
                "nowhere_to_go",
                _("Nobody knows where {piece} belongs. Scan where you put it, or mark it as a "
                  "gap."),
                piece=lost.mark or lost.code,
            )  # fmt: skip
        _move(by=by, at=at, setup=setup, going={e.piece_id: e.to or 0 for e in coming}, act=key)
        _say_off(by=by, at=at, setup=setup, rows=rows, gaps=gaps, act=key)
        bump([setup.kit_id])
    return key


def _off_already(setup: Setup, act: uuid.UUID, stations: Collection[int]) -> bool:
    """Whether this act took shafts off before. Raises ``id_reused`` for those of elsewhere."""
    said = ShaftMount.objects.filter(scan=act).values_list("setup_id", "station_number", "what")
    wanted = {(setup.pk, station, ShaftAct.TAKEN_OFF.value) for station in stations}
    check_same(set(said) <= wanted)
    return bool(said)


def _rows(reading: Reading, stations: Collection[int]) -> list[Row]:
    rows = [row for row in reading.rows if row.station in set(stations) and row.is_open]
    if not rows:
        raise Conflict(
            "nothing_on",
            _("Nothing is on there any more. Load the page again."),
        )
    return rows


def _check_gaps(rows: Sequence[Row], gaps: Collection[str]) -> None:
    known = {each.code for row in rows for each in row.coming}
    strange = next((code for code in gaps if code not in known), None)
    if strange is not None:
        raise ToolingError(
            "not_of_these_rows",
            _("{code} is not on these shafts. Scan it by itself."),
            code=strange[:20],
            in_field="gaps",
        )


def _move(*, by: Person, at: datetime, setup: Setup, going: dict[int, int], act: uuid.UUID) -> None:
    places = Place.objects.in_bulk(set(going.values()))
    if not going:
        return
    _moved, refused = move_together(
        act=Act(by=by, at=at, stamp=Stamp.of(at), how=How.TICK, scan=act),
        going={piece: places[place] for piece, place in going.items()},
    )
    for error in refused.values():
        raise error


def _say_off(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    rows: Sequence[Row],
    gaps: Collection[str],
    act: uuid.UUID,
) -> None:
    for row in rows:
        for shaft in row.shafts:
            empty = [e for e in row.coming if e.shaft == shaft and e.code in set(gaps)]
            said = _now("not on its peg: {pieces}").format(
                pieces=", ".join(each.mark or each.code for each in empty)
            )
            ShaftMount.objects.create(
                uuid=uuid.uuid5(act, f"{row.station} {shaft}"),
                happened_at=at,
                received_at=at,
                by=by,
                setup=setup,
                station_number=row.station,
                shaft=shaft,
                what=ShaftAct.TAKEN_OFF,
                scan=act,
                note=said[:400] if empty else "",
            )


def send_counts_back(
    *, by: Person, at: datetime, setup: Setup, act: uuid.UUID | None = None
) -> uuid.UUID:
    """The spacers that lie loose go back to their bins, by count; those on shafts that are on and
    those that stay are left. One act, undone as one.

    Raises NotAllowed, ``setup_struck``, ``kit_closed``, ``id_reused``, ``nothing_to_put_back``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    key = act or uuid.uuid4()
    with writing():
        setup = hold_open(setup)
        before = Movement.objects.filter(uuid=key).first() if act is not None else None
        if before is not None:
            check_same(before.note == note_of(setup))
            return key
        lines = read_strip(setup, at=at).lines
        if not put_lines_back(by=by, at=at, lines=lines, act=key, note=note_of(setup)):
            raise Conflict(
                "nothing_to_put_back",
                _("No spacer lies loose that a bin is known for. Take the shafts off first, or "
                  "make a bin."),
            )  # fmt: skip
        bump([setup.kit_id])
    return key


def undo_act(*, by: Person, at: datetime, setup: Setup, act: uuid.UUID) -> None:
    """What one tap took off or sent back is as it was.

    Raises NotAllowed, ``setup_struck``, ``kit_closed``, ``nothing_to_take_back``, and what putting
    movements right may raise.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold_open(setup)
        said = ShaftMount.objects.filter(setup=setup, scan=act, what=ShaftAct.TAKEN_OFF)
        rows = list(said.filter(corrected_by=None, is_taken_back=False))
        moved = Movement.objects.filter(scan=act, corrects=None, corrected_by=None)
        first = moved.order_by("pk").first()
        is_ours = bool(rows) or (first is not None and first.note == note_of(setup))
        if not is_ours:
            raise Conflict(
                "nothing_to_take_back",
                _("That was taken back already, or is not of this setup. Load the page again."),
            )
        if first is not None:
            undo(by=by, at=at, movement=first)
        for row in rows:
            ShaftMount.objects.create(
                happened_at=at, received_at=at, by=by, setup=setup,
                station_number=row.station_number, shaft=row.shaft, what=row.what,
                corrects=row, is_taken_back=True,
            )  # fmt: skip
        bump([setup.kit_id])


def look_over(*, by: Person, at: datetime, setup: Setup, id: uuid.UUID | None = None) -> SetupStep:
    """Everything was looked at: all clean and sound. What was dirty or built up is clean; what is
    marked, held or new stays what it is.

    Raises NotAllowed, ``setup_struck``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        step = setup_times.say_step(by=by, at=at, setup=setup, what=StepKind.CLEAN, uuid=id)
        if step.received_at == at:
            rows = Piece.objects.filter(kit_positions__kit=setup.kit_id, condition__in=DIRT)
            for piece in rows.distinct().order_by("code"):
                holds.say_condition(
                    by=by, at=at, piece=piece, condition=Condition.CLEAN,
                    reason=_now("looked over after the run"),
                )  # fmt: skip
    return step


def undo_look(*, by: Person, at: datetime, setup: Setup) -> None:
    """Nobody looked it over after all: conditions are as they were.

    Raises NotAllowed, ``setup_struck``, ``nothing_to_take_back``, ``condition_changed``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        said = SetupStep.objects.filter(setup=setup, what=StepKind.CLEAN, is_taken_back=False)
        step = said.filter(corrected_by=None).order_by("-pk").first()
        if step is None:
            raise Conflict(
                "nothing_to_take_back",
                _("Nobody said that it was looked over."),
            )
        changes = Change.objects.filter(
            subject="Piece", what="condition", at=step.received_at, by=step.by
        )
        for change in changes.order_by("pk"):
            piece = Piece.objects.get(code=change.subject_key)
            holds.undo_condition(by=by, at=at, piece=piece, change=change)
        setup_times.undo_step(by=by, at=at, step=step)


def flag(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    code: str,
    what: str,
    id: uuid.UUID | None = None,
) -> None:
    """One roll of the setup is not as it should be: it is stopped, and scanned by itself.

    Raises NotAllowed, ``setup_struck``, ``not_of_this_setup``, and what ``holds.stop`` raises.
    """
    check_can(by, Verb.STOP_PIECES)
    with writing():
        setup = hold_open(setup)
        piece = Piece.objects.filter(kit_positions__kit=setup.kit_id, code=code.upper()).first()
        if piece is None:
            raise Unknown(
                "not_of_this_setup",
                _("{code} is not of this setup. Stop it on its own page."),
                code=code[:20],
                in_field="code",
            )
        holds.stop(by=by, at=at, piece=piece, what=what, uuid=id)
        bump([setup.kit_id])


def strike(*, by: Person, at: datetime, setup: Setup, reason: str = "") -> Setup:
    """The end: everything that comes off is off. The setup is struck, its kit closed; pieces that
    stay for the next kit stay on the mill.

    Raises NotAllowed, ``setup_struck``, ``shafts_still_on`` naming them, and as ``kits.close``:
    ``kit_closed``, ``kit_short`` (asks for a reason).
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold_open(setup)
        still = [row for row in read_strip(setup, at=at).rows if row.is_open]
        if still:
            raise Conflict(
                "shafts_still_on",
                _("Still on: station {stations}. Take them off first."),
                stations=", ".join(str(row.station) for row in still[:12])
                + (" …" if len(still) > 12 else ""),
            )
        kits.close(by=by, at=at, kit=setup.kit, reason=reason)
        apply_edit(
            by=by, at=at, row=setup, key=setup.kit.number,
            fields={"state": SetupState.STRUCK, "struck_at": at}, what="struck down",
        )  # fmt: skip
        bump([setup.kit_id])
    return setup
