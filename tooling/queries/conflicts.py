"""What two open kits both claim while their jobs bind it; shown on both."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import ngettext

from tooling.models import KitPosition
from tooling.queries.bindings import OpenKit
from tooling.queries.condition_facts import Claim, Facts
from tooling.queries.kit_views import ConflictView, SharedPiece
from tooling.queries.kit_words import where_words


def conflicts_of(rows: Sequence[KitPosition], facts: Facts) -> tuple[ConflictView, ...]:
    """The kit's conflicts by the other job's start. No query: the facts hold the claims.

    A piece staged for one of the two conflicts whenever their jobs are.
    """
    shared: dict[int, list[SharedPiece]] = defaultdict(list)
    for row in rows:
        if row.piece is None:
            continue
        for claim in facts.claims(row.piece.pk):
            if claim.holds or claim.kit.binding.overlaps(facts.binding):
                shared[claim.kit.id].append(_shared(row, claim))
    found = [_view(facts, facts.others[kit], tuple(pieces)) for kit, pieces in shared.items()]
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


def _view(facts: Facts, other: OpenKit, pieces: tuple[SharedPiece, ...]) -> ConflictView:
    ours_first = facts.binding.is_before(other.binding)
    first, second = (facts.binding, other.binding) if ours_first else (other.binding, facts.binding)
    due = date_format(timezone.localtime(first.ends), "Y-m-d H:i")
    said = ngettext(
        "One piece is also in kit {kit} for job {other}. {first} gathers first; it is due back "
        "{due}, and {second} gathers {begins}.",
        "{count} pieces are also in kit {kit} for job {other}. {first} gathers first; they are "
        "due back {due}, and {second} gathers {begins}.",
        len(pieces),
    )
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
        said=said.format(
            count=len(pieces),
            kit=other.number,
            other=other.binding.job,
            first=first.job,
            second=second.job,
            due=due,
            begins=date_format(timezone.localtime(second.begins), "Y-m-d H:i"),
        ),
    )
