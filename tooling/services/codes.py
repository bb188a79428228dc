"""Issues label codes: the next serial of a kind, with its check character."""

from __future__ import annotations

from collections.abc import Iterable

from tooling.engineering import codes
from tooling.models import Counter, PlaceKind
from tooling.models.pieces import PIECE_LETTERS

__all__ = ["PIECE_LETTERS", "next_codes", "place_letter", "step_past"]


def place_letter(kind: str) -> str:
    """C for what moves, P for what stands."""
    return "C" if kind in (PlaceKind.CART, PlaceKind.PLATE) else "P"


def step_past(used: Iterable[str]) -> None:
    """Never issue again what came in from elsewhere: moves each counter beyond these codes."""
    highest: dict[str, int] = {}
    for text in used:
        code = codes.read_code(text)
        highest[code.kind] = max(highest.get(code.kind, 0), code.serial)
    for kind, serial in highest.items():
        counter, _made = Counter.objects.get_or_create(kind=kind)
        if counter.next_serial <= serial:
            counter.next_serial = serial + 1
            counter.save(update_fields=["next_serial"])


def next_codes(*, kind: str, count: int = 1) -> list[str]:
    """``count`` unused codes of a kind letter. Call inside a write; serials are never reused."""
    Counter.objects.get_or_create(kind=kind)
    counter = Counter.objects.select_for_update().get(kind=kind)
    issued: list[str] = []
    serial = counter.next_serial
    while len(issued) < count:
        code = codes.make_code(kind, serial)
        serial += 1
        if code is not None:
            issued.append(code)
    counter.next_serial = serial
    counter.save(update_fields=["next_serial"])
    return issued
