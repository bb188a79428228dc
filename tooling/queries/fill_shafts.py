"""The shafts of a kit as the computation of spacer stacks takes them: rolls, fills and seats."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, cast

from django.utils.translation import gettext as _

from tooling.engineering.stacks.eligibility import Seat
from tooling.engineering.stacks.specs import Fill, Roll, Shaft, ShaftKey, Station
from tooling.models import DrawingRevision, KeyStyle, KitPosition, MillShaft, SetFill, Setup
from tooling.models import Fill as FillName
from tooling.queries.fill_views import LeftOut, Spot
from tooling.queries.pieces import size_of
from tooling.queries.setup_stacks import in_order

Which = Literal["top", "bottom"]
ALONG = (KeyStyle.FULL, KeyStyle.TWO)
"""Keys over which spacers go too; a loose key or a pin is only under its roll."""


class _LackingError(Exception):
    """The shaft cannot be reckoned: a code and a sentence."""

    def __init__(self, code: str, said: str) -> None:
        super().__init__(code)
        self.code, self.said = code, said


@dataclass(frozen=True)
class Shafts:
    """What came of all the shafts of a kit."""

    stations: tuple[Station, ...]
    spots: Mapping[str, Spot]
    rows: Mapping[ShaftKey, tuple[KitPosition, ...]]
    standing: Mapping[str, tuple[KitPosition, ...]]
    left_out: tuple[LeftOut, ...]
    unmeasured: Mapping[ShaftKey, tuple[str, ...]]


@dataclass(frozen=True)
class ShaftReader:
    """Reads shafts out of a kit's positions. ``shafts``: of the mill, by station and shaft;
    ``middle``: the set's middle fills by pass and shaft; ``play_nm``: of a spacer's bore;
    ``seat_nm``: what its outside diameter must have over its shaft, 0 for nothing; ``duplex``:
    stations with a second bank, of which the first is reckoned."""

    shafts: Mapping[ShaftKey, MillShaft]
    stations: frozenset[int]
    middle: Mapping[ShaftKey, Sequence[SetFill]]
    revisions: Mapping[int, DrawingRevision]
    is_turned: bool
    play_nm: int
    seat_nm: int
    duplex: frozenset[int]
    mounted: frozenset[ShaftKey]

    def read(self, positions: Iterable[KitPosition]) -> Shafts:
        """Every top and bottom shaft on which the kit puts something of the set."""
        by: dict[ShaftKey, list[KitPosition]] = defaultdict(list)
        for row in positions:
            if row.shaft in ("top", "bottom"):
                by[row.station_number, row.shaft].append(row)
        one = _Read()
        for key in sorted(by, key=lambda k: (k[0], k[1] != "top")):
            rows = tuple(e.row for e in in_order(by[key], is_turned=self.is_turned))
            one.rows[key] = rows
            try:
                self._shaft(one, key, rows)
            except _LackingError as why:
                one.left_out.append(LeftOut(key[0], key[1], why.code, why.said))
        return Shafts(
            stations=tuple(Station(n, tuple(shafts)) for n, shafts in one.stations.items()),
            spots=one.spots,
            rows=one.rows,
            standing=one.standing,
            left_out=tuple(one.left_out),
            unmeasured=one.unmeasured,
        )

    def _shaft(self, one: _Read, key: ShaftKey, rows: Sequence[KitPosition]) -> None:
        mill = self._mill_shaft(key)
        if key in self.mounted and not any(row.fill for row in rows):
            raise _LackingError("is_mounted", _("It is mounted already, without a fill."))
        rolls = [row for row in rows if not row.fill]
        guide = self._guide(rolls)
        unmeasured = []
        if mill.shoulder_measured_on is None:
            unmeasured.append(_("the shoulder's offset"))
        if key[0] in self.duplex:
            unmeasured.append(_("which bank it stands in: the first is reckoned"))
        built = [self._roll(row, guide, unmeasured) for row in rolls]
        parts, standing, spots = self._parts(key, rows, rolls, built, mill)
        told = tuple(dict.fromkeys(unmeasured))
        shaft = Shaft(
            which=cast(Which, key[1]),
            roll_space_nm=mill.roll_space_nm,
            parts=tuple(parts),
            shoulder_offset_nm=mill.shoulder_offset_nm,
            unmeasured=_names(mill, rolls, guide),
        )
        one.stations.setdefault(key[0], []).append(shaft)
        one.standing |= standing
        one.spots |= spots
        one.unmeasured[key] = told

    def _mill_shaft(self, key: ShaftKey) -> MillShaft:
        if key[0] not in self.stations:
            raise _LackingError("station_unknown", _("The mill has no station for this pass."))
        if key not in self.shafts:
            raise _LackingError("shaft_unknown", _("The station has no such shaft on record."))
        return self.shafts[key]

    def _guide(self, rolls: Sequence[KitPosition]) -> KitPosition:
        """The roll that carries the guide point: as the set says, else the only roll."""
        found = [r for r in rolls if r.set_position and r.set_position.carries_guide_point]
        if not found:
            found = [row for row in rolls if row.drawing.kind == "roll"]
        if len(found) != 1:
            raise _LackingError(
                "guide_point_unknown",
                _("The set does not say which of its rolls carries the guide point."),
            )
        return found[0]

    def _roll(self, row: KitPosition, guide: KitPosition, unmeasured: list[str]) -> Roll:
        name = row.piece.mark or row.piece.code if row.piece else row.drawing.number
        width, is_measured = self._size(row, "face_width")
        if width is None:
            raise _LackingError(
                "width_unknown", _("The width of {name} is not known.").format(name=name)
            )
        if not is_measured:
            unmeasured.append(_("the width of {name}").format(name=name))
        offset = None
        if row.pk == guide.pk:
            offset, is_measured = self._size(row, "guide_offset")
            if offset is None:
                raise _LackingError(
                    "guide_offset_unknown",
                    _("How far the guide point of {name} lies from its inboard face is not "
                      "known.").format(name=name),
                )  # fmt: skip
            if not is_measured:
                unmeasured.append(_("the guide offset of {name}").format(name=name))
            offset = width - offset if self.is_turned else offset
        return Roll(name, width, offset)

    def _size(self, row: KitPosition, what: str) -> tuple[int | None, bool]:
        """Now, as made, else as drawn; and whether anybody measured it."""
        if row.piece is not None:
            known = getattr(row.piece, f"now_{what}_nm"), getattr(row.piece, f"made_{what}_nm")
            return size_of(row.piece, what), any(each is not None for each in known)
        revision = self.revisions.get(row.drawing_id)
        return (getattr(revision, f"{what}_nm") if revision else None), False

    def _parts(
        self, key: ShaftKey, rows: Sequence[KitPosition], rolls: Sequence[KitPosition],
        built: Sequence[Roll], mill: MillShaft,
    ) -> tuple[list[Fill | Roll], dict[str, tuple[KitPosition, ...]], dict[str, Spot]]:  # fmt: skip
        """In order from the shoulder; what stands in each fill now; and where each fill is."""
        number = rolls[0].pass_number
        spots = [Spot(key[0], number, key[1], FillName.INBOARD)]
        parts: list[Fill | Roll] = [Fill(spots[0].key, "inboard", seat=self._seat(mill))]
        middle = {each.after_order: each for each in self.middle.get((number, key[1]), ())}
        for at, (row, roll) in enumerate(zip(rolls, built, strict=True)):
            parts.append(roll)
            drawn = rolls[at + 1] if self.is_turned and at + 1 < len(rolls) else row
            asked = drawn.set_position
            called = middle.get(asked.order) if asked and at + 1 < len(rolls) else None
            if called is not None:
                spots.append(Spot(key[0], number, key[1], FillName.MIDDLE, called.after_order))
                parts.append(_middle(spots[-1].key, called, self._seat(mill, called)))
        spots.append(Spot(key[0], number, key[1], FillName.OUTBOARD))
        parts.append(Fill(spots[-1].key, "outboard", seat=self._seat(mill)))
        return parts, _standing(rows, parts), {spot.key: spot for spot in spots}

    def _seat(self, mill: MillShaft, called: SetFill | None = None) -> Seat:
        has_key = mill.key_style in ALONG
        return Seat(
            shaft_nm=mill.diameter_nm,
            key_width_nm=(mill.key_width_nm or 0) if has_key else 0,
            key_height_nm=(mill.key_height_nm or 0) if has_key else 0,
            hub_seat_nm=mill.diameter_nm + self.seat_nm if self.seat_nm else None,
            clearance_nm=called.outside_most_nm if called else None,
            play_most_nm=self.play_nm,
        )


@dataclass
class _Read:
    """What is gathered while shafts are read."""

    stations: dict[int, list[Shaft]] = field(default_factory=dict)
    spots: dict[str, Spot] = field(default_factory=dict)
    rows: dict[ShaftKey, tuple[KitPosition, ...]] = field(default_factory=dict)
    standing: dict[str, tuple[KitPosition, ...]] = field(default_factory=dict)
    left_out: list[LeftOut] = field(default_factory=list)
    unmeasured: dict[ShaftKey, tuple[str, ...]] = field(default_factory=dict)


def _middle(key: str, called: SetFill, seat: Seat) -> Fill:
    return Fill(
        key, "middle", target_nm=called.length_nm, below_nm=called.below_nm,
        above_nm=called.above_nm, seat=seat,
    )  # fmt: skip


def _standing(
    rows: Sequence[KitPosition], parts: Sequence[Fill | Roll]
) -> dict[str, tuple[KitPosition, ...]]:
    """The spacers in each fill. What stands in a middle fill that is no longer called for is in
    none."""
    found: dict[str, list[KitPosition]] = {p.key: [] for p in parts if isinstance(p, Fill)}
    passed = 0
    for row in rows:
        if not row.fill:
            passed += 1
            continue
        key = _fill_at(parts, passed, row.fill)
        if key is not None:
            found[key].append(row)
    return {key: tuple(mine) for key, mine in found.items()}


def _fill_at(parts: Sequence[Fill | Roll], passed: int, name: str) -> str | None:
    """The fill of this name that lies behind so many rolls."""
    rolls = 0
    for part in parts:
        if isinstance(part, Roll):
            rolls += 1
        elif part.kind == name and (name != FillName.MIDDLE or rolls == passed):
            return part.key
    return None


def _names(mill: MillShaft, rolls: Sequence[KitPosition], guide: KitPosition) -> tuple[str, ...]:
    """What of the shaft nobody has measured, by the names of the computation."""
    found = [] if mill.shoulder_measured_on else ["shoulder_offset_nm"]
    if not _measured(guide, "guide_offset"):
        found.append("guide_offset_nm")
    if not all(_measured(row, "face_width") for row in rolls):
        found.append("rolls_nm")
    return tuple(found)


def _measured(row: KitPosition, what: str) -> bool:
    piece = row.piece
    return piece is not None and any(
        getattr(piece, f"{which}_{what}_nm") is not None for which in ("now", "made")
    )


def turned(setup: Setup | None, charted: bool) -> bool:
    """Whether the kit goes on for the other hand: as its setup says, else as its chart."""
    return setup.is_turned if setup is not None else charted
