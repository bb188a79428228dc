"""Where a label may sit on a roll and where never, as data and as a section of the roll.

Common practice of the trade: faces that are clamped in the stack, the bore, the contour that
touches the strip, and a face that will be ground bear no label; what remains is the free ring of
a face between the neighbour's seat and the contour.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.engineering.length_formats import Unit, say_length
from tooling.pictures.shapes import Drawing, Line, Path, Rect, Shape, Text, polygon

NM_PER_MM = 1_000_000
LEAST_RING_NM = 6 * NM_PER_MM
"""A narrower ring holds neither a label of 0.2 mm modules nor a finger to press it on."""

_SCALE_ROOM = 78.0
_LEFT, _TOP = 34.0, 6.0
_TEXT = 4.2
_NOTE_X = 112.0


@dataclass(frozen=True, slots=True)
class RollSection:
    """A roll for the question where its label goes. Lengths in nm.

    ``seat_nm`` is the diameter up to which its neighbour clamps the face, ``root_nm`` the least
    diameter of the contour; ``inboard_ground`` and ``outboard_ground`` name faces that will be
    ground. Raises ValueError unless bore < seat ≤ outside and bore < root ≤ outside.
    """

    outside_nm: int
    bore_nm: int
    width_nm: int
    seat_nm: int
    root_nm: int
    keyway_depth_nm: int = 0
    inboard_ground: bool = False
    outboard_ground: bool = False

    def __post_init__(self) -> None:
        if self.width_nm <= 0 or self.bore_nm <= 0 or self.keyway_depth_nm < 0:
            raise ValueError("a roll has a width, a bore and a keyway that is not negative")
        if not (self.bore_nm < self.seat_nm <= self.outside_nm):
            raise ValueError("the seat lies between bore and outside diameter")
        if not (self.bore_nm < self.root_nm <= self.outside_nm):
            raise ValueError("the root diameter lies between bore and outside diameter")

    @property
    def ring_nm(self) -> int:
        """Width of the free ring of a face, radially; nothing where the seat covers it."""
        return max(0, (self.root_nm - self.seat_nm) // 2)


@dataclass(frozen=True, slots=True)
class LabelSite:
    """One zone of the roll: may a label sit here, and why. ``room_nm`` is its narrowest width."""

    zone: str
    name: str | Promise
    allowed: bool
    reason: str | Promise
    room_nm: int = 0


def label_sites(roll: RollSection) -> tuple[LabelSite, ...]:
    """Every zone of a roll, those where a label may sit first."""
    sites = (
        _face("inboard_face", _("inboard face, free ring"), roll, roll.inboard_ground),
        _face("outboard_face", _("outboard face, free ring"), roll, roll.outboard_ground),
        LabelSite(
            "seat", _("clamped face"), False,
            _("The neighbour is clamped here: a label would be crushed and stand in the stack."),
        ),
        LabelSite("bore", _("bore and keyway"), False, _("The shaft and its key run here.")),
        LabelSite("contour", _("contour"), False, _("The strip runs here.")),
    )  # fmt: skip
    return tuple(sorted(sites, key=lambda site: not site.allowed))


def _face(zone: str, name: str | Promise, roll: RollSection, is_ground: bool) -> LabelSite:
    if is_ground:
        return LabelSite(zone, name, False, _("This face will be ground: the label would go."))
    if roll.ring_nm < LEAST_RING_NM:
        return LabelSite(
            zone, name, False,
            _("The ring left free is too narrow. Label the roll's peg or tray instead."),
            roll.ring_nm,
        )  # fmt: skip
    return LabelSite(
        zone, name, True, _("Free between the neighbour and the contour. Clean it first."),
        roll.ring_nm,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Frame:
    """The section on the page: mm on the page per nm, and the roll's corners there."""

    per_nm: float
    width: float
    axis: float

    def y(self, diameter_nm: int) -> float:
        """The height on the page of a diameter, above the axis."""
        return self.axis - diameter_nm / 2 * self.per_nm

    @property
    def right(self) -> float:
        return _LEFT + self.width


def draw_label_sites(roll: RollSection, *, unit: Unit = "mm") -> Drawing:
    """The upper half of the roll in section, to scale: each zone by shape and by word.

    Where a label may sit stands a filled tab; where not, a cross on a leader.
    """
    half = (roll.outside_nm) / 2
    per_nm = min(_SCALE_ROOM / half, 56.0 / roll.width_nm)
    view = _Frame(per_nm, roll.width_nm * per_nm, _TOP + 8 + half * per_nm)
    sites = {site.zone: site for site in label_sites(roll)}
    return Drawing(
        width=210,
        height=view.axis + 12,
        shapes=(*_section(roll, view), *_zones(roll, view, sites, unit)),
        title=_now("Where a label may sit on a roll"),
        description=" ".join(_sentence(site, unit) for site in sites.values()),
        look="site-picture",
    )


def _sentence(site: LabelSite, unit: Unit) -> str:
    may = _now("a label may sit") if site.allowed else _now("never a label")
    room = f" ({say_length(site.room_nm, unit)})" if site.allowed else ""
    return f"{site.name}: {may}{room}. {site.reason}"


def _section(roll: RollSection, view: _Frame) -> Iterator[Shape]:
    """Outline with the contour's throat, hatched; bore, keyway and axis."""
    top, root, bore = view.y(roll.outside_nm), view.y(roll.root_nm), view.y(roll.bore_nm)
    flat = view.width * 0.16
    left, right = _LEFT, view.right
    outline = (
        (left, bore), (left, root), (left + flat * 0.4, top), (left + flat, top),
        (left + 2 * flat, root), (right - 2 * flat, root), (right - flat, top),
        (right - flat * 0.4, top), (right, root), (right, bore),
    )  # fmt: skip
    yield from _hatch(outline)
    yield Path(polygon(*outline), "outline")
    if roll.keyway_depth_nm:
        key = view.y(roll.bore_nm + 2 * roll.keyway_depth_nm)
        yield Line(left, key, right, key, "hair")
    yield Line(left - 10, view.axis, right + 10, view.axis, "centre")


def _hatch(outline: tuple[tuple[float, float], ...]) -> Iterator[Line]:
    """Section lines at 45° inside the outline, 4 mm apart."""
    sums = [x + y for x, y in outline]
    level = min(sums) + 4.0
    while level < max(sums):
        crossings = sorted(_crossings(outline, level))
        for start, end in zip(crossings[::2], crossings[1::2], strict=False):
            yield Line(start, level - start, end, level - end, "hatch")
        level += 4.0


def _crossings(outline: tuple[tuple[float, float], ...], level: float) -> Iterator[float]:
    """Where the line x + y = level crosses the closed outline: the x of each crossing."""
    for (x1, y1), (x2, y2) in zip(outline, outline[1:] + outline[:1], strict=True):
        one, other = x1 + y1 - level, x2 + y2 - level
        if (one < 0) != (other < 0):
            yield x1 + (x2 - x1) * one / (one - other)


def _zones(
    roll: RollSection, view: _Frame, sites: dict[str, LabelSite], unit: Unit
) -> Iterator[Shape]:
    bore, seat = view.y(roll.bore_nm), view.y(min(roll.seat_nm, roll.root_nm))
    root = view.y(roll.root_nm)
    ring, clamp = (root + seat) / 2, (seat + bore) / 2
    yield from _seats(view, seat, bore)
    yield from _face_zone(sites["inboard_face"], _LEFT - 2.2, (root, seat))
    yield from _face_zone(sites["outboard_face"], view.right, (root, seat))
    yield from _note(sites["contour"], (_LEFT + view.width / 2, root), view, _TOP + 4, unit)
    yield from _note(sites["outboard_face"], (view.right + 2.2, ring), view, ring, unit)
    yield from _note(sites["seat"], (view.right + 4, clamp), view, clamp, unit)
    yield from _note(sites["bore"], (view.right - 3, bore), view, view.axis - 1, unit)
    yield Text(_LEFT - 10, ring + 1.4, _now("inboard"), _TEXT, "end", "label quiet")


def _seats(view: _Frame, seat: float, bore: float) -> Iterator[Shape]:
    """The neighbours that clamp both faces."""
    for x in (_LEFT - 8, view.right):
        yield Rect(x, seat, 8, bore - seat, "soft")
        yield Path(polygon((x, seat), (x + 8, seat), (x + 8, bore), (x, bore)), "outline")


def _face_zone(site: LabelSite, x: float, span: tuple[float, float]) -> Iterator[Shape]:
    """A filled tab on a face where a label may sit, a cross where not."""
    top, bottom = span
    if site.allowed:
        inset = min(1.0, (bottom - top) / 6)
        yield Rect(x, top + inset, 2.2, bottom - top - 2 * inset, "allowed")
    else:
        yield from _cross(x + 1.1, (top + bottom) / 2)


def _cross(x: float, y: float) -> Iterator[Line]:
    size = 1.6
    yield Line(x - size, y - size, x + size, y + size, "forbidden")
    yield Line(x - size, y + size, x + size, y - size, "forbidden")


def _note(
    site: LabelSite, at: tuple[float, float], view: _Frame, y: float, unit: Unit
) -> Iterator[Shape]:
    """A leader from the zone to its words: what it is, and whether a label may sit there."""
    x, zone_y = at
    yield Line(x, zone_y, _NOTE_X - 5, y, "leader")
    if not site.allowed:
        yield from _cross(_NOTE_X - 2.6, y)
    else:
        yield Rect(_NOTE_X - 4.2, y - 1.6, 3.2, 3.2, "allowed")
    name = str(site.name)
    yield Text(_NOTE_X, y - 0.4, name[:1].upper() + name[1:], _TEXT, "start", "label strong")
    may = (
        _now("label here: {room} free").format(room=say_length(site.room_nm, unit))
        if site.allowed
        else _now("never a label")
    )
    yield Text(_NOTE_X, y + 4.2, may, _TEXT, "start", "label quiet")
