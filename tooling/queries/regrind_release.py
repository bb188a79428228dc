"""The whole judgement of an order: its pieces by themselves, and every set that uses them.

Before a piece is measured again its targets stand for what it will be, so that the order says
from the first day what it does to each set.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime

from django.db.models import Prefetch
from django.utils import timezone

from tooling.engineering.lengths import Unit
from tooling.models import (
    KitPosition,
    RegrindOrder,
    RegrindOrderLine,
    RegrindOrderWork,
    WorkKind,
)
from tooling.queries.pieces import size_of
from tooling.queries.release_pieces import Readings, check_pieces, readings_after, sizes_before
from tooling.queries.release_sets import judge_sets
from tooling.queries.release_users import Users, users_of
from tooling.queries.release_views import FillChange, Judged

CHANGES_SIZE = frozenset(
    {
        *(WorkKind.REGRIND, WorkKind.RECONTOUR, WorkKind.FACE, WorkKind.REBORE),
        *(WorkKind.STRIP, WorkKind.PLATE),
    }
)
"""Work after which a piece has other dimensions than before."""


def judged_lines(order: RegrindOrder) -> list[RegrindOrderLine]:
    """The open lines, or of an order that is over those that were worked on, with all that
    judging them needs. Four queries."""
    works = RegrindOrderWork.objects.select_related("work").prefetch_related("work__measures")
    rows = order.lines.select_related(
        "piece__drawing", "piece__revision", "piece__owner", "piece__place"
    ).prefetch_related("targets", Prefetch("works", works.order_by("pk")))
    return list(rows.order_by("pk"))


def judge_order(
    lines: Sequence[RegrindOrderLine], *, at: datetime, unit: Unit | None = None
) -> Judged:
    """Everything that a release asks: at most eighteen queries beside the lines."""
    known = [line for line in lines if line.is_open]
    if not known:
        return Judged()
    read = readings_after(known)
    users = users_of([line.piece_id for line in known])
    before = _before(known)
    after = _after(known, before, read)
    shown: Unit = unit or ("in" if known[0].piece.unit == "in" else "mm")
    sized = [line.piece_id for line in known if CHANGES_SIZE & set(line.kinds)]
    return Judged(
        pieces=check_pieces(known, read, on=timezone.localdate(at), unit=unit),
        sets=judge_sets(users, ordered=sized, before=before, after=after, unit=shown)
        if sized
        else (),
        fills=_fill_changes(users, before, after),
        charts=tuple(str(chart) for chart in users.charts) if sized else (),
    )


def _before(lines: Sequence[RegrindOrderLine]) -> dict[int, dict[str, int]]:
    """As kept with the work, else as the piece is now."""
    kept = sizes_before(lines)
    found: dict[int, dict[str, int]] = {}
    for line in lines:
        sizes = {name: size_of(line.piece, name) for name in SIZES}
        own = {name: nm for name, nm in sizes.items() if nm is not None}
        found[line.piece_id] = own | kept.get(line.piece_id, {})
    return found


SIZES = (
    *("bore", "face_width", "guide_offset"),
    *("drive_diameter", "root_diameter", "outside_diameter"),
)


def _after(
    lines: Sequence[RegrindOrderLine], before: Mapping[int, Mapping[str, int]], read: Readings
) -> dict[int, dict[str, int]]:
    """As read since the cut; else as ordered; else as before."""
    found = {}
    for line in lines:
        sizes = dict(before[line.piece_id])
        sizes |= {target.dimension: target.target_nm for target in line.targets.all()}
        sizes |= {name: each.nm for (pk, name), each in read.items() if pk == line.piece_id}
        found[line.piece_id] = sizes
    return found


def _fill_changes(
    users: Users, before: Mapping[int, Mapping[str, int]], after: Mapping[int, Mapping[str, int]]
) -> tuple[FillChange, ...]:
    """Faced pieces: what is to be added to the fills of their shafts. One query where any is."""
    changed = {
        pk: (
            after[pk].get("face_width", 0) - before[pk].get("face_width", 0),
            after[pk].get("guide_offset", 0) - before[pk].get("guide_offset", 0),
        )
        for pk in after
    }
    changed = {pk: both for pk, both in changed.items() if any(both)}
    if not changed:
        return ()
    kits = _kits_with_fills(changed)
    found = []
    for user in users.users:
        places = {row.pk: row for row in users.positions.get(user.tool_set.pk, ())}
        for position, piece in user.pieces.items():
            row = places.get(position)
            if piece not in changed or row is None or row.shaft not in ("top", "bottom"):
                continue
            width, offset = changed[piece]
            found.append(
                FillChange(
                    piece=users.pieces[piece].code,
                    mark=users.pieces[piece].mark,
                    set_number=user.tool_set.number,
                    pass_number=row.set_pass.number,
                    shaft=row.shaft,
                    inboard_nm=-offset,
                    outboard_nm=offset - width,
                    is_exact=row.carries_guide_point,
                    kits=tuple(kits.get((user.tool_set.pk, row.set_pass.number, row.shaft), ())),
                    unit=user.tool_set.unit,
                )
            )
    return tuple(found)


def _kits_with_fills(changed: Mapping[int, object]) -> dict[tuple[int, int, str], list[str]]:
    """(set, pass, shaft) → open kits that claim these pieces and have spacers on that shaft."""
    claims = KitPosition.objects.filter(piece__in=changed, is_open=True)
    rows = (
        KitPosition.objects.filter(kit__in=claims.values("kit_id"), is_open=True)
        .exclude(fill="")
        .order_by("kit__number")
        .values_list("kit__job__tool_set_id", "pass_number", "shaft", "kit__number")
        .distinct()
    )
    found: dict[tuple[int, int, str], list[str]] = defaultdict(list)
    for tool_set, number, shaft, kit in rows:
        found[tool_set, number, shaft].append(kit)
    return found
