"""Takes one mark: what is it of, may it be, and then the piece or the bin."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import CountLine, StockLine
from tooling.queries.scan_lookup import Lookup
from tooling.services.count_marks import Mark, Said
from tooling.services.count_pieces import take_piece
from tooling.services.count_stock import take_bin
from tooling.services.counts import check_countable


def take(mark: Mark, lookup: Lookup) -> Said:
    """Count it. Raises whatever forbids it; see ``count_entries.record_batch``."""
    _check_inside(mark)
    text = mark.scan.code
    subject = _expected_of_mark(mark, lookup) or lookup.subject(text)
    if isinstance(subject, StockLine):
        return take_bin(mark, subject)
    if isinstance(subject, int):
        return take_piece(mark, subject)
    raise ToolingError(
        "not_a_piece",
        _("{label} is no piece and no bin. Scan a place first, then what lies there, piece by "
          "piece."),
        label=text,
    )  # fmt: skip


def _check_inside(mark: Mark) -> None:
    counted, seen_at = mark.count.place, mark.place
    if seen_at is None:
        return
    check_countable(seen_at)
    if counted is None or seen_at.path.startswith(counted.path):
        return
    raise Conflict(
        "not_in_count",
        _("{place} is not in {counted}, which is being counted. If it stands there now, put it "
          "there on the Scan page first."),
        place=seen_at.path_name or seen_at.name,
        counted=counted.path_name or counted.name,
    )  # fmt: skip


def _expected_of_mark(mark: Mark, lookup: Lookup) -> int | None:
    """Of several pieces with this mark, the only one that the count expects."""
    marked = lookup.marks.get(mark.scan.code.strip().upper(), [])
    if len(marked) < 2 or fold(mark.scan.code) in lookup.pieces:
        return None
    lines = CountLine.objects.filter(count=mark.count, piece__in=marked)
    expected = list(lines.values_list("piece_id", flat=True)[:2])
    return expected[0] if len(expected) == 1 else None
