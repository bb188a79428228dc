"""A badge that is read where a label was meant: named, never kept.

What is on a badge opens a shared tablet in its person's name, so it must not come to stand in a
refused scan, in the sentence that refuses it, or on the list of the last scans. The doors that take
scans ask here first.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from uuid import UUID

from django.core.cache import cache
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import looks_like_code
from tooling.errors import ToolingError
from tooling.models import Person
from tooling.queries.badges import BadgeRead, badges_read
from tooling.queries.scan_lookup import look_up
from tooling.services.scan_moves import ScanIn
from tooling.services.scans import REFUSED, ScanResult

BADGE_SCANNED = "badge_scanned"
MOST_NAMED, NAMED_AGAIN_S = 60, 600
"""So many texts that are no label does a person hear the truth about in so many seconds; then a
badge is answered as any text that names nothing is. Else whoever may scan could try numbers until
one is somebody's badge."""

Record = Callable[[Sequence[ScanIn]], list[ScanResult]]


def check_no_badge(*, by: Person, text: str) -> None:
    """Raises ToolingError ``badge_scanned`` where the text is somebody's badge; nothing of it is
    in the error. A piece, place or kit that is called so is meant first."""
    for error in _badges_among(by, {text}).values():
        raise error


def record_without_badges(
    *, by: Person, scans: Sequence[ScanIn], record: Record
) -> list[ScanResult]:
    """What ``record`` answers to the scans that read no badge; each other one is refused by its id
    and leaves nothing behind. In the order of ``scans``."""
    texts = {text for scan in scans for text in (scan.code, scan.to) if not looks_like_code(text)}
    errors = _badges_among(by, texts)
    if not errors:
        return record(scans)
    refused: dict[UUID, ScanResult] = {}
    for scan in scans:
        if error := errors.get(scan.code) or errors.get(scan.to):
            refused[scan.id] = ScanResult(scan.id, REFUSED, error.code, error.message)
    rest = [scan for scan in scans if scan.id not in refused]
    answers = iter(record(rest) if rest else ())
    return [refused.get(scan.id) or next(answers) for scan in scans]


def _badges_among(by: Person, texts: Collection[str]) -> dict[str, ToolingError]:
    asked = {text for text in texts if text and not looks_like_code(text)}
    if not asked:
        return {}
    is_named = _tries(by, len(asked)) <= MOST_NAMED
    read = badges_read(asked)
    return {
        text: _words(badge) if is_named else unknown
        for text, badge in read.items()
        if (unknown := _names_nothing(text)) is not None
    }


def _tries(by: Person, more: int) -> int:
    key = f"badge-scans-{by.pk}"
    cache.add(key, 0, NAMED_AGAIN_S)
    try:
        return cache.incr(key, more)
    except ValueError:  # it ran out between the two
        return more


def _names_nothing(text: str) -> ToolingError | None:
    """What a text that names nothing is told; None: something of the toolroom is called so, or
    several things are."""
    found = look_up([text], [text])
    unknown: ToolingError | None = None
    asked: Iterable[Callable[[str], object]] = (found.target, found.subject)
    for ask in asked:
        try:
            ask(text)
        except ToolingError as error:
            unknown = error
        if unknown is None or unknown.code != "unknown_code":
            return None
    return unknown


def _words(badge: BadgeRead) -> ToolingError:
    if badge.holds:
        return ToolingError(
            BADGE_SCANNED,
            _("That is {name}'s badge, not a label; nothing was taken or kept of it. A badge says "
              "who works on a shared tablet: scan it there. To hand something to {name}, choose "
              "the person from the list."),
            name=badge.name,
        )  # fmt: skip
    return ToolingError(
        BADGE_SCANNED,
        _("That is a badge that names nobody any more; nothing was taken or kept of it. Give it to "
          "the supervisor, and scan the label of the piece."),
    )  # fmt: skip
