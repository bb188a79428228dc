"""Where two open kits want more of a count than there is at the time; told on both."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from django.utils.translation import gettext as _

from tooling.engineering.counts_over_time import Holder, Share
from tooling.queries.condition_facts import Facts
from tooling.queries.kit_views import SharedCount
from tooling.queries.stock_conditions import Claimed, claim_of, moment
from tooling.queries.stock_pools import Pool


def shared_counts(facts: Facts, claimed: Sequence[Claimed]) -> dict[int, list[SharedCount]]:
    """By the other kit's id: of which drawings one of the two is short by the other. No query."""
    found: dict[int, list[SharedCount]] = defaultdict(list)
    by_drawing: dict[int, list[Claimed]] = defaultdict(list)
    for each in claimed:
        by_drawing[each.drawing.pk].append(each)
    for drawing, rows in by_drawing.items():
        pool = facts.pools.by_drawing[drawing]
        if pool.is_plenty:
            continue
        for other, shared in [*_ours(facts, pool, rows), *_theirs(facts, pool, rows)]:
            found[other].append(shared)
    return found


def _ours(facts: Facts, pool: Pool, rows: Sequence[Claimed]) -> list[tuple[int, SharedCount]]:
    """What this kit lacks because others have it then."""
    waiting = [each for each in rows if not each.is_staged]
    if not waiting:
        return []
    me = claim_of(facts, waiting[0].drawing.pk, waiting)
    share = pool.share(me, among=facts.others)
    words = _("This job is {short} {drawing} short: job {job} has {count} until {due}.")
    return [
        (holder.key, _shared(facts, rows, share, holder, words, holder.key, is_ours=True))
        for holder in share.holders
        if share.taken
    ]


def _theirs(facts: Facts, pool: Pool, rows: Sequence[Claimed]) -> list[tuple[int, SharedCount]]:
    """What other kits lack because this one has it then."""
    own = facts.kit_id or 0
    if own not in pool.wanted:
        return []
    words = _("Job {job} is {short} {drawing} short while this job has {count}, until {due}.")
    found = []
    for key, wanted in pool.wanted.items():
        kit = wanted.kit
        if key not in facts.others or not kit.wants or kit.begins >= facts.binding.ends:
            continue
        share = pool.share_of(key)
        for holder in share.holders:
            if share.taken and holder.key == own:
                shared = _shared(facts, rows, share, holder, words, key, is_ours=False)
                found.append((key, shared))
    return found


def _shared(
    facts: Facts,
    rows: Sequence[Claimed],
    share: Share,
    holder: Holder,
    words: str,
    other: int,
    *,
    is_ours: bool,
) -> SharedCount:
    drawing = rows[0].drawing.number
    said = words.format(
        short=share.taken,
        drawing=drawing,
        job=facts.others[other].binding.job,
        count=holder.count,
        due=moment(holder.until),
    )
    return SharedCount(drawing, share.taken, holder.count, holder.until, is_ours, said)
