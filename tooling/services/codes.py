"""Issues label codes: the next serial of a kind, with its check character."""

from __future__ import annotations

from tooling.engineering import codes
from tooling.models import Counter


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
