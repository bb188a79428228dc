"""What was scanned at the mill: is it this station, this shaft, and the next from the shoulder?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import CheckLevel, KitPosition, Piece, Place, Setup, Station, StockLine
from tooling.queries.scan_lookup import look_up
from tooling.queries.setup_stacks import SHAFTS, OnShaft, in_order
from tooling.services import staging

SHAFT_WORDS = {"top": _("top shaft"), "bottom": _("bottom shaft"), "side": _("side rolls")}
PASSED_ON = ("piece_taken", "piece_held", "piece_not_fit", "owner_approval_missing")
"""What staging says of a piece that matters more than where it belongs."""


@dataclass(frozen=True)
class At:
    """Where somebody mounts: a shaft of a station, where its pieces then are, and its stack."""

    setup: Setup
    station: Station
    shaft: str
    spot: Place
    stack: Sequence[OnShaft]

    @property
    def said(self) -> str:
        return _now("station {station}, {shaft}").format(
            station=self.station.number, shaft=SHAFT_WORDS[self.shaft]
        )


@dataclass(frozen=True)
class Checked:
    """What the scans showed: the station, which pieces of the shaft in order, which counts."""

    station: bool
    pieces: tuple[int, ...]

    def level(self, wanted: Sequence[OnShaft]) -> str:
        """How much that is, as the record keeps it; empty where nothing was scanned."""
        ids = {each.row.piece_id for each in wanted if each.row.piece_id is not None}
        if ids and ids <= set(self.pieces):
            return CheckLevel.ROLL
        if self.pieces:
            return CheckLevel.SHAFT
        return CheckLevel.STATION if self.station else ""


def check_codes(
    at_shaft: At, codes: Sequence[str], *, left_out: Mapping[int, str], at: datetime
) -> Checked:
    """Judge what was scanned, in the order scanned.

    ``left_out``: orders of the positions that stay off. What is scanned comes in the order of the
    stack; at the level *every roll* without one between. Raises ``wrong_pass``, ``wrong_shaft``,
    ``wrong_position``, ``piece_taken``, ``piece_held`` and what reading a code raises.
    """
    found = look_up(codes, codes)
    pieces: list[int] = []
    station = False
    wanted = [each for each in at_shaft.stack if each.row.order not in left_out]
    for text in dict.fromkeys(code.strip() for code in codes if code.strip()):
        if fold(text) in found.stations:
            _check_station(at_shaft, found.stations[fold(text)])
            station = True
            continue
        subject = found.subject(text, kit=at_shaft.setup.kit)
        if isinstance(subject, StockLine):
            _check_count(at_shaft, subject, wanted)
        elif isinstance(subject, int):
            if subject not in pieces:
                _check_piece(at_shaft, subject, pieces, wanted, at=at)
                pieces.append(subject)
        else:
            raise _no_piece(at_shaft, text)
    return Checked(station, tuple(pieces))


def check_level(at_shaft: At, checked: Checked, wanted: Sequence[OnShaft]) -> None:
    """Raise ``scan_wanted``, naming the next, where less was scanned than the setup asks for."""
    level = at_shaft.setup.check_level
    open_ = [e for e in wanted if e.row.piece_id and e.row.piece_id not in checked.pieces]
    pieces = [each for each in wanted if each.row.piece_id is not None]
    if level == CheckLevel.ROLL and open_:
        raise _scan_wanted(at_shaft, open_[0])
    if level == CheckLevel.SHAFT and pieces and not checked.pieces:
        raise _scan_wanted(at_shaft, pieces[0])


def name_of(row: KitPosition) -> str:
    """What goes on here, as it is read on the thing: mark and code, or the drawing of a count."""
    if row.piece is None:
        return row.drawing.number
    return row.piece.called


def _scan_wanted(at_shaft: At, each: OnShaft) -> Conflict:
    return Conflict(
        "scan_wanted",
        _("This setup wants {what} scanned before {where} is said to be on."),
        what=name_of(each.row),
        where=at_shaft.said,
        in_field="codes",
    )


def _check_station(at_shaft: At, scanned: Station) -> None:
    if scanned.pk != at_shaft.station.pk:
        raise Conflict(
            "wrong_pass",
            _("That is the label of {there}, station {scanned}; {here} is being mounted. Go to its "
              "station, or scan the label there."),
            there=scanned.place.path_name or scanned.place.name,
            scanned=scanned.number,
            here=at_shaft.said,
        )  # fmt: skip


def _check_count(at_shaft: At, line: StockLine, wanted: Sequence[OnShaft]) -> None:
    if any(each.row.drawing_id == line.drawing_id and not each.row.piece_id for each in wanted):
        return
    raise Conflict(
        "wrong_position",
        _("{code} is a bin of {drawing}, in {home}; none of it goes on {here}. {wanted}"),
        code=line.code,
        drawing=line.drawing.number,
        home=line.place.path_name or line.place.name,
        here=at_shaft.said,
        wanted=_wanted_words(wanted, ()),
    )


def _check_piece(
    at_shaft: At, piece_id: int, before: Sequence[int], wanted: Sequence[OnShaft], *, at: datetime
) -> None:
    piece = Piece.objects.select_related("drawing", "place").get(pk=piece_id)
    kit = at_shaft.setup.kit
    move = staging.Moved(piece_id, piece.place_id, at_shaft.spot.pk, kit.pk)
    problem = staging.check_may_stage(moves=[move], at=at).get(piece_id)
    if problem is not None and problem.code in PASSED_ON:
        raise problem
    mine = KitPosition.objects.filter(kit=kit, piece=piece_id).first()
    if mine is None:
        raise _not_of_this_kit(at_shaft, piece, before, wanted)
    if mine.station_number != at_shaft.station.number:
        raise _wrong("wrong_pass", at_shaft, piece, mine, before, wanted)
    if mine.shaft != at_shaft.shaft:
        raise _wrong("wrong_shaft", at_shaft, piece, mine, before, wanted)
    if at_shaft.shaft != "side" and not _is_in_order(at_shaft, piece_id, before, wanted):
        raise _wrong("wrong_position", at_shaft, piece, mine, before, wanted)


def _is_in_order(
    at_shaft: At, piece_id: int, before: Sequence[int], wanted: Sequence[OnShaft]
) -> bool:
    """Whether the piece comes after those scanned before it, counted from the shoulder; where every
    roll is scanned it must be the very next."""
    turns = [each.row.piece_id for each in wanted if each.row.piece_id is not None]
    if piece_id not in turns:
        return False
    if at_shaft.setup.check_level == CheckLevel.ROLL:
        return next((each for each in turns if each not in before), None) == piece_id
    return all(turns.index(each) < turns.index(piece_id) for each in before if each in turns)


def _wanted_words(wanted: Sequence[OnShaft], before: Sequence[int]) -> str:
    """What the shaft wants next, and where that lies."""
    following = next(
        (e for e in wanted if e.row.piece is not None and e.row.piece_id not in before), None
    )
    if following is None or following.row.piece is None:
        return _now("Nothing more with a label goes on here.")
    place = following.row.piece.place
    return _now("Wanted next is {what}, now in {place}.").format(
        what=name_of(following.row), place=place.path_name or place.name
    )


def _wrong(
    code: str,
    at_shaft: At,
    piece: Piece,
    mine: KitPosition,
    before: Sequence[int],
    wanted: Sequence[OnShaft],
) -> Conflict:
    return Conflict(
        code,
        _("{what} is a {drawing} for station {station}, {shaft}, {turn} from the shoulder; here is "
          "{here}. {wanted}"),
        what=piece.called,
        drawing=piece.drawing.number,
        station=mine.station_number,
        shaft=SHAFT_WORDS.get(mine.shaft, mine.shaft),
        turn=_turn_of(at_shaft, mine),
        here=at_shaft.said,
        wanted=_wanted_words(wanted, before),
        piece_id=piece.pk,
        kit_id=at_shaft.setup.kit_id,
    )  # fmt: skip


def _turn_of(at_shaft: At, mine: KitPosition) -> int:
    """How many from the shoulder it goes on there, on this mill."""
    same = KitPosition.objects.filter(
        kit=mine.kit_id, station_number=mine.station_number, shaft=mine.shaft
    ).select_related("set_position")
    stack = in_order(list(same), is_turned=at_shaft.setup.is_turned)
    return next(each.turn for each in stack if each.row.pk == mine.pk)


def _not_of_this_kit(
    at_shaft: At, piece: Piece, before: Sequence[int], wanted: Sequence[OnShaft]
) -> Conflict:
    return Conflict(
        "wrong_position",
        _("{what} is a {drawing} that kit {kit} does not have; it belongs in {home}. Here is "
          "{here}. {wanted}"),
        what=piece.called,
        drawing=piece.drawing.number,
        kit=at_shaft.setup.kit.number,
        home=piece.place.path_name or piece.place.name,
        here=at_shaft.said,
        wanted=_wanted_words(wanted, before),
        piece_id=piece.pk,
        kit_id=at_shaft.setup.kit_id,
    )  # fmt: skip


def _no_piece(at_shaft: At, text: str) -> ToolingError:
    return ToolingError(
        "not_a_piece",
        _("{text} is the label of nothing that goes on a shaft. Scan a roll or a spacer for "
          "{here}."),
        text=text[:60],
        here=at_shaft.said,
    )  # fmt: skip


def shaft_of(setup: Setup, piece_id: int) -> tuple[int, str] | None:
    """Station and shaft to which the setup's kit sends a piece; None: it has no place there."""
    row = KitPosition.objects.filter(kit=setup.kit_id, piece=piece_id, shaft__in=SHAFTS).first()
    return (row.station_number, row.shaft) if row is not None else None
