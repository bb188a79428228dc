"""Mounting: a shaft of a station is on, left out, or not on after all.

The pieces and counts of a shaft go into the station's place, or onto the plate, in the same
transaction as the word that it is on; taking the word back puts them back where they were.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import (
    CheckLevel,
    How,
    Movement,
    Person,
    Setup,
    ShaftAct,
    ShaftMount,
    Station,
    StockLine,
)
from tooling.permissions import Verb, check_can
from tooling.queries.mounted_counts import lines_within, spot_of, take_from
from tooling.queries.setup_stacks import OnShaft, stacks_of
from tooling.queries.shaft_states import shaft_states
from tooling.services import stock
from tooling.services.corrections import undo
from tooling.services.edits import require_text
from tooling.services.mounting_judge import (
    SHAFT_WORDS,
    At,
    Checked,
    check_codes,
    check_level,
    name_of,
)
from tooling.services.movements import Stamp
from tooling.services.said_again import said_again
from tooling.services.setup_state import hold_open
from tooling.services.together import Act, move_together
from tooling.services.write import bump, writing


def mount(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    station: int,
    shaft: str,
    codes: Sequence[str] = (),
    left_out: Mapping[int, str] | None = None,
    id: uuid.UUID | None = None,
) -> ShaftMount:
    """The shaft's stack is on, all of it but what is left out with a reason (by its order in the
    kit). The same ``id`` sent again gives the same row and changes nothing.

    Raises NotAllowed, ``setup_struck``, ``kit_closed``, ``no_such_shaft``, ``id_reused``,
    ``mounted_already``, ``not_here`` naming what is not, ``scan_wanted``, and what `check_codes`
    and moving the pieces raise.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    reasons = {order: _reason(text) for order, text in (left_out or {}).items()}
    with writing():
        where = hold_shaft(setup, station, shaft)
        note = _left_out_words(where, reasons)
        repeated = _again(where, id, ShaftAct.MOUNTED, note)
        if repeated is not None:
            return repeated
        check_free(where)
        wanted = _wanted(where, reasons)
        checked = check_codes(where, codes, left_out=reasons, at=at)
        check_level(where, checked, wanted)
        going, counts = _here(where, wanted)
        act = Act(
            by=by,
            at=at,
            stamp=Stamp.of(at),
            how=How.SCAN if checked.pieces else How.TICK,
            scan=uuid.uuid4(),
            kit=where.setup.kit,
            sees=checked.level(wanted) == CheckLevel.ROLL,
        )
        _move(act, where, going, counts)
        row = ShaftMount.objects.create(
            uuid=id or uuid.uuid4(),
            happened_at=at,
            received_at=at,
            by=by,
            setup=where.setup,
            station_number=station,
            shaft=shaft,
            what=ShaftAct.MOUNTED,
            checked=checked.level(wanted),
            scan=act.scan if going or counts else None,
            note=note,
        )
        bump([where.setup.kit_id])
    return row


def leave_out(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    station: int,
    shaft: str,
    reason: str,
    id: uuid.UUID | None = None,
) -> ShaftMount:
    """The whole shaft stays empty, for a reason.

    Raises NotAllowed, ``empty_text``, ``setup_struck``, ``kit_closed``, ``no_such_shaft``,
    ``id_reused``, ``mounted_already``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    said = require_text(reason, field="reason", label=_("Reason"), longest=400)
    with writing():
        where = hold_shaft(setup, station, shaft)
        repeated = _again(where, id, ShaftAct.SKIPPED, said)
        if repeated is not None:
            return repeated
        check_free(where)
        row = ShaftMount.objects.create(
            uuid=id or uuid.uuid4(),
            happened_at=at,
            received_at=at,
            by=by,
            setup=where.setup,
            station_number=station,
            shaft=shaft,
            what=ShaftAct.SKIPPED,
            note=said,
        )
        bump([where.setup.kit_id])
    return row


def take_back(*, by: Person, at: datetime, setup: Setup, station: int, shaft: str) -> ShaftMount:
    """What was last said of the shaft does not hold; its pieces are back where they were.

    Raises NotAllowed, ``setup_struck``, ``kit_closed``, ``nothing_to_take_back``, and what putting
    the movements right raises.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        where = hold_shaft(setup, station, shaft)
        rows = ShaftMount.objects.filter(
            setup=setup, station_number=station, shaft=shaft, corrected_by=None, is_taken_back=False
        )
        last = rows.order_by("happened_at", "id").last()
        if last is None or last.what == ShaftAct.TAKEN_OFF:
            raise Conflict(
                "nothing_to_take_back",
                _("Nobody said yet that {where} is on or left out."),
                where=where.said,
            )
        moved = Movement.objects.filter(scan=last.scan, corrects=None) if last.scan else None
        first = moved.order_by("id").first() if moved is not None else None
        if first is not None:
            undo(by=by, at=at, movement=first)
        row = ShaftMount.objects.create(
            happened_at=at,
            received_at=at,
            by=by,
            setup=where.setup,
            station_number=station,
            shaft=shaft,
            what=last.what,
            note=last.note,
            corrects=last,
            is_taken_back=True,
        )
        bump([where.setup.kit_id])
    return row


def check_scan(
    *, setup: Setup, station: int, shaft: str, codes: Sequence[str], at: datetime
) -> Checked:
    """Judge scans before anybody says that the shaft is on. Reads only.

    Raises as `mount` does for scans.
    """
    return check_codes(_shaft(setup, station, shaft), codes, left_out={}, at=at)


def hold_shaft(
    setup: Setup, station: int, shaft: str, *, pieces: Sequence[int] = (), stock: Sequence[int] = ()
) -> At:
    before = _shaft(setup, station, shaft)
    ids = {each.row.piece_id for each in before.stack if each.row.piece_id is not None}
    drawings = {each.row.drawing_id for each in before.stack if each.row.piece_id is None}
    lines = lines_within(setup, drawings) if drawings else []
    fresh = hold_open(
        setup,
        pieces=ids | set(pieces),
        stock={line.pk for line in lines} | set(stock),
        places={before.spot.pk},
    )
    return _shaft(fresh, station, shaft)


def _shaft(setup: Setup, station: int, shaft: str) -> At:
    stack = stacks_of(setup, stations=[station]).get((station, shaft), ())
    found = (
        Station.objects.select_related("place").filter(mill=setup.mill_id, number=station).first()
    )
    if found is None or not stack:
        raise Unknown(
            "no_such_shaft",
            _("Kit {kit} puts nothing on the {shaft} of station {station} of this mill."),
            kit=setup.kit.number,
            shaft=SHAFT_WORDS.get(shaft, shaft),
            station=station,
        )
    return At(setup, found, shaft, spot_of(setup, found), stack)


def check_free(where: At) -> None:
    state = shaft_states([where.setup.pk]).get((where.setup.pk, where.station.number, where.shaft))
    if state is None or state.what == ShaftAct.TAKEN_OFF:
        return
    words = {
        ShaftAct.MOUNTED: _("{name} said at {time} that {where} is on. Nothing was changed."),
        ShaftAct.SKIPPED: _("{name} left {where} out at {time}: {reason}. Take that back first."),
    }
    raise Conflict(
        "mounted_already",
        words[ShaftAct(state.what)],
        name=state.by or "-",
        time=f"{timezone.localtime(state.at):%H:%M}",
        where=where.said,
        reason=state.note,
    )


def _again(where: At, id: uuid.UUID | None, what: ShaftAct, note: str) -> ShaftMount | None:
    return said_again(
        ShaftMount, id, setup_id=where.setup.pk, station_number=where.station.number,
        shaft=where.shaft, what=what, note=note,
    )  # fmt: skip


def _reason(text: str) -> str:
    return require_text(text, field="reason", label=_("Reason"), longest=120)


def _wanted(where: At, left_out: Mapping[int, str]) -> list[OnShaft]:
    """What goes on. Raises ``unknown_position`` for an order that is not on the shaft and
    ``all_left_out`` when nothing remains."""
    strangers = sorted(set(left_out) - {each.row.order for each in where.stack})
    if strangers:
        raise Unknown(
            "unknown_position",
            _("Nothing goes on {where} at {order}."),
            where=where.said,
            order=strangers[0],
        )
    wanted = [each for each in where.stack if each.row.order not in left_out]
    if not wanted:
        raise ToolingError(
            "all_left_out",
            _("All of {where} would be left out. Leave the whole shaft out instead."),
            where=where.said,
        )
    return wanted


def _here(where: At, wanted: Sequence[OnShaft]) -> tuple[list[int], dict[int, int]]:
    """Ids of the pieces that go on, and from which bin lines how many of a count. Raises
    ``not_here``."""
    lacking = [each for each in wanted if each.row.piece_id is not None and not each.row.is_staged]
    empty = [each for each in wanted if each.row.piece_id is None]
    counts, short = take_from(where.setup, where.station, where.spot, [e.row for e in empty])
    lacking += [each for each in empty if each.row.pk in short]
    if lacking:
        raise _not_here(where, sorted(lacking, key=lambda each: each.turn))
    going = [each.row.piece_id for each in wanted if each.row.piece_id is not None]
    return going, counts


def _not_here(where: At, lacking: Sequence[OnShaft]) -> Conflict:
    names = []
    for each in lacking[:4]:
        place = each.row.piece.place if each.row.piece is not None else None
        told = f"{each.turn}: {name_of(each.row)}"
        names.append(f"{told}, {place.path_name or place.name}" if place else told)
    return Conflict(
        "not_here",
        _("Not here for {where}: {what}. Bring it, take another, or leave it out with a reason."),
        where=where.said,
        what="; ".join(names) + (" …" if len(lacking) > 4 else ""),
        orders=",".join(str(each.row.order) for each in lacking),
    )


def _move(act: Act, where: At, going: Sequence[int], counts: Mapping[int, int]) -> None:
    rows, refused = move_together(act=act, going=dict.fromkeys(going, where.spot))
    for piece_id in going:
        if piece_id in refused:
            raise refused[piece_id]
    lines = StockLine.objects.in_bulk(counts)
    for number, (pk, quantity) in enumerate(sorted(counts.items()), start=len(rows)):
        stock.move(
            by=act.by,
            at=act.at,
            line=lines[pk],
            quantity=quantity,
            to=where.spot,
            how=act.how,
            stamp=act.stamp,
            id=act.row_id(number),
            scan=act.scan,
            kit=act.kit,
        )


def _left_out_words(where: At, left_out: Mapping[int, str]) -> str:
    """What stayed off and why, as the record keeps it."""
    told = [
        _now("left out: {turn} {what} ({reason})").format(
            turn=each.turn, what=name_of(each.row), reason=left_out[each.row.order]
        )
        for each in where.stack
        if each.row.order in left_out
    ]
    return "; ".join(told)[:400]
