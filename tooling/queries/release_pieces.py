"""Each piece of an order judged by itself: back, read since the cut, to its target, above its
least, its mark back, its owner's leave on file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from tooling.engineering.lengths import Unit, say_length
from tooling.models import (
    DIAMETERS,
    DIMENSIONS,
    ApprovalKind,
    Condition,
    Piece,
    Reading,
    RegrindOrderLine,
    WorkKind,
)
from tooling.queries.approvals import CUTS, Answers, answers_about, why_not
from tooling.queries.pieces import size_of
from tooling.queries.print_limits import LABELS
from tooling.queries.release_views import Check

OF_DIAMETERS = (WorkKind.REGRIND, WorkKind.RECONTOUR, WorkKind.STRIP, WorkKind.PLATE)
LEAST = (*DIAMETERS, "face_width")


@dataclass(frozen=True)
class Read:
    """A reading taken after the cut."""

    nm: int
    at: datetime
    over_chrome: bool


Readings = Mapping[tuple[int, str], Read]
"""(piece id, dimension) → the newest reading after the cut."""


def readings_after(lines: Sequence[RegrindOrderLine]) -> Readings:
    """Of pieces that came back: what was read when the work on them was over. One query.

    The cut is known by its day: a reading counts from the next day on, or once it came back.
    """
    back = {line.piece_id: line for line in lines if line.back_at and line.done_on}
    if not back:
        return {}
    found: dict[tuple[int, str], Read] = {}
    rows = Reading.objects.filter(
        piece__in=back, corrected_by=None, value_nm__isnull=False, dimension__in=DIMENSIONS
    ).exclude(point="wear")
    for piece, name, nm, at, over in rows.order_by("happened_at", "pk").values_list(
        "piece_id", "dimension", "value_nm", "happened_at", "over_chrome"
    ):
        if nm is not None and _is_after(back[piece], at):
            found[piece, name] = Read(nm, at, over)
    return found


def _is_after(line: RegrindOrderLine, at: datetime) -> bool:
    if line.back_at is not None and at >= line.back_at:
        return True
    return line.done_on is not None and timezone.localdate(at) > line.done_on


def to_be_read(line: RegrindOrderLine) -> tuple[str, ...]:
    """The dimensions that must be read after the work: those with a target, and those that work
    of its kind changes and that are known of the piece. The revision must be loaded."""
    kinds = set(line.kinds)
    names = {target.dimension for target in line.targets.all()}
    if kinds & set(OF_DIAMETERS) and not names & set(DIAMETERS):
        names |= {name for name in DIAMETERS if size_of(line.piece, name) is not None}
    if WorkKind.FACE in kinds:
        names |= {n for n in ("face_width", "guide_offset") if size_of(line.piece, n) is not None}
    if WorkKind.REBORE in kinds:
        names.add("bore")
    return tuple(name for name in DIMENSIONS if name in names)


def check_pieces(
    lines: Sequence[RegrindOrderLine], read: Readings, *, on: date, unit: Unit | None = None
) -> dict[int, tuple[Check, ...]]:
    """Piece id → its checks. One query where a customer's piece is cut, else none.

    Pieces come with revision, drawing and owner; lines with their targets.
    """
    foreign: list[Piece] = [
        line.piece for line in lines if not line.piece.owner.is_shop and CUTS & set(line.kinds)
    ]
    answers = answers_about(ApprovalKind.REGRIND, foreign)
    owed = {piece.pk for piece in foreign}
    found = {}
    for line in lines:
        own: Unit = unit or ("in" if line.piece.unit == "in" else "mm")
        checks = [*_of_line(line, read, own)]
        if line.piece_id in owed:
            checks[:0] = _leave(line, answers, on)
        found[line.piece_id] = tuple(checks)
    return found


def _leave(line: RegrindOrderLine, answers: Answers, on: date) -> Iterator[Check]:
    stands = answers.standing(line.piece, line.done_on or on)
    if not stands.is_given:
        why = why_not(ApprovalKind.REGRIND, line.piece.owner.name, stands)
        yield _no("owner_approval_missing", line, _("{piece}: {why}").format(
            piece=line.piece.called, why=why))  # fmt: skip


def _of_line(line: RegrindOrderLine, read: Readings, unit: Unit) -> Iterator[Check]:
    piece = line.piece
    if line.back_at is None:
        yield _no("still_out", line, _("{piece} did not come back yet.").format(piece=piece.called))
        return
    yield from _reads(line, read, unit)
    for name in LEAST:
        now, least = size_of(piece, name), getattr(piece.revision, f"least_{name}_nm")
        if now is not None and least is not None and now < least:
            code = "below_least_width" if name == "face_width" else "below_least_diameter"
            yield _no(code, line, _(
                "{piece}: {dimension} {now} is below the least allowed {least}. It is not "
                "released; have a new one made."
            ).format(piece=piece.called, dimension=LABELS[name], now=say_length(now, unit),
                     least=say_length(least, unit)))  # fmt: skip
    if line.mark_to_restore and line.mark_seen_at is None:
        yield _no("mark_missing", line, _(
            "{piece}: nobody has said that its mark is back. Look at it, or have it marked again."
        ).format(piece=piece.called))  # fmt: skip
    if piece.condition == Condition.HOLD or piece.condition == Condition.CRACKED:
        said = _("{piece} is {condition} still; lift that on its own page.").format(
            piece=piece.called, condition=piece.get_condition_display()
        )
        yield Check("piece_not_fit", "warn", said, piece=piece.code, mark=piece.mark)


def _reads(line: RegrindOrderLine, read: Readings, unit: Unit) -> Iterator[Check]:
    piece = line.piece
    targets = {target.dimension: target for target in line.targets.all()}
    unread = [name for name in to_be_read(line) if (piece.pk, name) not in read]
    if unread:
        words = _("{piece} was not measured since the work: {dimensions}.")
        names = ", ".join(str(LABELS[name]) for name in unread)
        yield _no("unread_after_cut", line, words.format(piece=piece.called, dimensions=names))
    for name in to_be_read(line):
        reading, target = read.get((piece.pk, name)), targets.get(name)
        if reading is None:
            continue
        if name in DIAMETERS and line.kinds and _is_plated(line) and not reading.over_chrome:
            yield _no("unread_over_chrome", line, _(
                "{piece} was plated; {dimension} was written as measured bare. Measure it over "
                "the chrome."
            ).format(piece=piece.called, dimension=LABELS[name]))  # fmt: skip
        if target is None:
            continue
        least, most = target.target_nm - target.minus_nm, target.target_nm + target.plus_nm
        said = {"piece": piece.called, "dimension": LABELS[name],
                "now": say_length(reading.nm, unit),
                "least": say_length(least, unit), "most": say_length(most, unit)}  # fmt: skip
        if not least <= reading.nm <= most:
            code = "diameter_off" if name in DIAMETERS else "size_off"
            yield _no(code, line, _(
                "{piece}: {dimension} measures {now}; ordered was {least} to {most}. Have it put "
                "right, or change its target to what was cut if the set stays true."
            ).format(**said))  # fmt: skip
        else:
            yield Check("to_size", "ok", _(
                "{piece}: {dimension} {now}, ordered {least} to {most}."
            ).format(**said), piece=piece.code, mark=piece.mark)  # fmt: skip


def _is_plated(line: RegrindOrderLine) -> bool:
    kinds = [kind for kind in line.kinds if kind in (WorkKind.STRIP, WorkKind.PLATE)]
    return bool(kinds) and kinds[-1] == WorkKind.PLATE


def _no(code: str, line: RegrindOrderLine, said: str) -> Check:
    return Check(code, "no", said, piece=line.piece.code, mark=line.piece.mark)


def worn_condition(piece: Piece, kinds: Collection[str]) -> bool:
    """Whether the work mends what its condition says: a chip or a mark is cut away."""
    mended = (
        *(Condition.CHIPPED, Condition.MARKED, Condition.CHROME_WORN),
        *(Condition.DIRTY, Condition.BUILD_UP),
    )
    cuts = {WorkKind.REGRIND, WorkKind.RECONTOUR, WorkKind.FACE, WorkKind.POLISH, WorkKind.PLATE}
    return piece.condition in mended and bool(cuts & set(kinds))


def sizes_before(lines: Sequence[RegrindOrderLine]) -> dict[int, dict[str, int]]:
    """Piece id → dimension → what it measured before the work, as kept with the work; what was
    not kept is missing. Lines come with their works and measures."""
    found: dict[int, dict[str, int]] = defaultdict(dict)
    for line in lines:
        for of_order in line.works.all():
            for measure in of_order.work.measures.all():
                if measure.before_nm is not None:
                    found[line.piece_id].setdefault(measure.dimension, measure.before_nm)
    return dict(found)


__all__ = [
    "Read",
    "check_pieces",
    "readings_after",
    "sizes_before",
    "to_be_read",
    "worn_condition",
]
