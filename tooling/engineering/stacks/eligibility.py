"""Whether a spacer by its shape may stand at a place on a shaft. Lengths are nanometres."""

from __future__ import annotations

from dataclasses import dataclass

PLAY_MOST_NM = 150_000
"""A spacer's bore may be so much larger than its shaft: memory, a setting of the shop."""


@dataclass(frozen=True)
class Body:
    """A spacer's present shape; None was never measured. ``keyway_width_nm`` 0: a plain bore.

    ``fit``: fit for use (not held, damaged or away); ``bound``: claimed elsewhere.
    """

    bore_nm: int | None = None
    outside_nm: int | None = None
    keyway_width_nm: int = 0
    keyway_depth_nm: int = 0
    fit: bool = True
    bound: bool = False


@dataclass(frozen=True)
class Seat:
    """What a place on a shaft asks for. Key sizes are 0 where the shaft has no key there.

    ``hub_seat_nm``: least outside diameter that still carries the neighbouring hub;
    ``clearance_nm``: most outside diameter that clears what turns opposite. None: no limit.
    """

    shaft_nm: int
    key_width_nm: int = 0
    key_height_nm: int = 0
    hub_seat_nm: int | None = None
    clearance_nm: int | None = None
    play_most_nm: int = PLAY_MOST_NM


def suits(body: Body | None, seat: Seat | None) -> bool:
    """Bore, key, outside diameter, fit for use and free. What was never measured does not suit
    where the seat asks for it; where nothing is told of the body or the seat, only use counts."""
    return why_not(body, seat) is None


def why_not(body: Body | None, seat: Seat | None) -> str | None:
    """The first of not_fit, bound, bore, key, hub_seat, clearance that forbids it, or None."""
    if body is None:
        return None
    if not body.fit:
        return "not_fit"
    if body.bound:
        return "bound"
    if seat is None:
        return None
    if body.bore_nm is None or not 0 <= body.bore_nm - seat.shaft_nm <= seat.play_most_nm:
        clear = body.bore_nm is not None and _plain_and_clear(body, seat)
        if not clear:
            return "bore"
    if seat.key_width_nm and not _passes_key(body, seat):
        return "key"
    if seat.hub_seat_nm is not None and (body.outside_nm or 0) < seat.hub_seat_nm:
        return "hub_seat"
    if seat.clearance_nm is not None and (
        body.outside_nm is None or body.outside_nm > seat.clearance_nm
    ):
        return "clearance"
    return None


def _passes_key(body: Body, seat: Seat) -> bool:
    """By its keyway, or with a plain bore that is clear of the key."""
    if body.keyway_width_nm:
        room_nm = (body.bore_nm or 0) + 2 * body.keyway_depth_nm
        tall_enough = room_nm >= seat.shaft_nm + 2 * seat.key_height_nm
        return body.keyway_width_nm >= seat.key_width_nm and tall_enough
    return _plain_and_clear(body, seat)


def _plain_and_clear(body: Body, seat: Seat) -> bool:
    """A plain bore that goes over shaft and key: it turns on the key's top, so only its play
    there counts."""
    over_key = seat.shaft_nm + 2 * seat.key_height_nm
    return (
        bool(seat.key_width_nm)
        and not body.keyway_width_nm
        and body.bore_nm is not None
        and 0 <= body.bore_nm - over_key <= seat.play_most_nm
    )
