"""What two open kits both claim while their jobs bind it; shown on both."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import ngettext

from tooling.models import KitPosition
from tooling.queries.bindings import Binding, OpenKit
from tooling.queries.condition_facts import Claim, Facts
from tooling.queries.kit_views import ConflictView, SharedCount, SharedPiece
from tooling.queries.kit_words import where_words
from tooling.queries.stock_conditions import Claimed
from tooling.queries.stock_conflicts import shared_counts


def conflicts_of(
    rows: Sequence[KitPosition], facts: Facts, *, pooled: Collection[int]
) -> tuple[ConflictView, ...]:
    """The kit's conflicts by the other job's start. No query: the facts hold the claims.

    A piece staged for one of the two conflicts whenever their jobs are; a count only when it is
    too small for both. ``pooled``: the rows that claim one of a count.
    """
    shared: dict[int, list[SharedPiece]] = defaultdict(list)
    for row in rows:
        if row.piece is None:
            continue
        for claim in facts.claims(row.piece.pk):
            if claim.holds or claim.kit.binding.overlaps(facts.binding):
                shared[claim.kit.id].append(_shared(row, claim))
    counts = shared_counts(
        facts,
        [
            Claimed(row.pk, row.drawing, row.stock_line_id, row.is_staged)
            for row in rows
            if row.pk in pooled
        ],
    )
    found = [
        _view(facts, facts.others[kit], tuple(shared.get(kit, ())), tuple(counts.get(kit, ())))
        for kit in {**shared, **counts}
    ]
    return tuple(sorted(found, key=lambda view: (view.starts_at, view.job)))


def _shared(row: KitPosition, claim: Claim) -> SharedPiece:
    assert row.piece is not None
    return SharedPiece(
        piece=row.piece.code,
        mark=row.piece.mark,
        here=where_words(row.pass_number, row.shaft, row.order),
        there=where_words(claim.pass_number, claim.shaft, claim.order),
        is_staged_there=claim.holds,
    )


def _view(
    facts: Facts,
    other: OpenKit,
    pieces: tuple[SharedPiece, ...],
    counts: tuple[SharedCount, ...],
) -> ConflictView:
    ours_first = facts.binding.is_before(other.binding)
    if not pieces:
        ours_first = not any(count.is_ours for count in counts)
    first, second = (facts.binding, other.binding) if ours_first else (other.binding, facts.binding)
    said = [_said(other, first, second, len(pieces))] if pieces else []
    said += [count.said for count in counts]
    return ConflictView(
        kit=other.number,
        job=other.binding.job,
        mill=other.mill,
        starts_at=other.starts_at,
        ends_at=other.binding.ends,
        gathers_first=first.job,
        is_ours_first=ours_first,
        due_back=first.ends,
        pieces=pieces,
        said=" ".join(said),
        counts=counts,
    )


def _said(other: OpenKit, first: Binding, second: Binding, count: int) -> str:
    words = ngettext(
        "One piece is also in kit {kit} for job {other}. {first} gathers first; it is due back "
        "{due}, and {second} gathers {begins}.",
        "{count} pieces are also in kit {kit} for job {other}. {first} gathers first; they are "
        "due back {due}, and {second} gathers {begins}.",
        count,
    )
    return words.format(
        count=count,
        kit=other.number,
        other=other.binding.job,
        first=first.job,
        second=second.job,
        due=date_format(timezone.localtime(first.ends), "Y-m-d H:i"),
        begins=date_format(timezone.localtime(second.begins), "Y-m-d H:i"),
    )
