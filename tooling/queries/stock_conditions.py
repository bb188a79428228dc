"""The states of positions that claim one of a count, judged over time.

How many there are for the kit when it gathers is asked of the pool (``stock_pools``); which bin
each comes from is said when the kit is near, or when somebody goes to fetch. What lies in the
kit's own gathering place is staged for positions already.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from tooling.engineering.counts_over_time import Share, Wanted
from tooling.models import NOT_FIT, Condition, Drawing, StockLine
from tooling.queries.condition_facts import Facts
from tooling.queries.kit_views import Alternative, State, Verdict
from tooling.queries.stock_pools import Pool


@dataclass(frozen=True)
class Claimed:
    """A position that claims one of a drawing's count; ``line_id`` is the bin, once chosen."""

    key: int
    drawing: Drawing
    line_id: int | None
    is_staged: bool


def verdicts(facts: Facts, claimed: Iterable[Claimed]) -> dict[int, Verdict]:
    """State by key; what there is goes to the positions in the order given."""
    found: dict[int, Verdict] = {}
    by_drawing: dict[int, list[Claimed]] = defaultdict(list)
    for each in claimed:
        by_drawing[each.drawing.pk].append(each)
    for drawing, rows in by_drawing.items():
        pool = facts.pools.by_drawing[drawing]
        found |= _Judged(facts, pool, rows).verdicts()
    return found


def claim_of(facts: Facts, drawing: int, rows: Sequence[Claimed], *, more: int = 0) -> Wanted:
    """What the kit still wants of a drawing: these positions, and some more."""
    bound: dict[int, int] = defaultdict(int)
    for each in rows:
        if each.line_id is not None:
            bound[each.line_id] += 1
    wants = len(rows) + more
    return facts.pools.wanted(
        drawing, kit_id=facts.kit_id or 0, job=facts.job, wants=wants, bound=bound
    )


class _Judged:
    """One drawing's positions before its pool."""

    def __init__(self, facts: Facts, pool: Pool, rows: Sequence[Claimed]) -> None:
        self.facts, self.pool = facts, pool
        self.lines = {line.pk: line for line in pool.lines}
        self.staged = [each for each in rows if each.is_staged]
        self.barred = {
            each.key: said
            for each in rows
            if not each.is_staged and (said := self._barred(each)) is not None
        }
        self.waiting = [e for e in rows if not e.is_staged and e.key not in self.barred]

    def verdicts(self) -> dict[int, Verdict]:
        here = {each.key: self._here(each) for each in self.staged}
        return here | self.barred | (self._judge() if self.waiting else {})

    def _here(self, each: Claimed) -> Verdict:
        line = self.lines.get(each.line_id or 0)
        return Verdict(State.HERE, _("Here, with the kit."), stock=line.code if line else "")

    def _barred(self, each: Claimed) -> Verdict | None:
        """Why the bin that was chosen by hand cannot give any, unless it is empty."""
        line = self.lines.get(each.line_id or 0)
        if line is None or not line.count:
            return None
        state, said = _why_not(self.facts, line)
        return None if state is None else _at_line(line, state, said)

    def _judge(self) -> dict[int, Verdict]:
        drawing = self.waiting[0].drawing
        me = claim_of(self.facts, drawing.pk, self.waiting)
        share = self.pool.share(me, among=self.facts.others)
        bins = self._bins(me, share)
        found: dict[int, Verdict] = {}
        for each in self._bound_first(bins):
            line = _next_bin(bins, each.line_id)
            if line is not None:
                found[each.key] = self._fetch(self.lines[line], self.taken[line])
        rest = [each for each in self.waiting if each.key not in found]
        for each in rest[: share.to_fetch - len(found)]:
            found[each.key] = self._later(drawing, share)
        lacking = [each for each in rest if each.key not in found]
        for turn, each in enumerate(lacking, start=1):
            found[each.key] = self._lacking(turn, share)
        return found

    def _bins(self, me: Wanted, share: Share) -> dict[int, int]:
        """By bin how many to take; nothing while the bins are still to be chosen."""
        if not share.to_fetch or not (self.facts.is_fetching or self._is_near()):
            self.taken: Mapping[int, int] = {}
            return {}
        self.taken = self.pool.bins_of(me, among=self.facts.others, most=share.to_fetch)
        return dict(self.taken)

    def _is_near(self) -> bool:
        return self.facts.pools.is_near(self.facts.binding)

    def _bound_first(self, bins: Mapping[int, int]) -> list[Claimed]:
        """As many positions as bins give, in the order given: those first that name their bin."""
        given = sum(bins.values())
        named = [each for each in self.waiting if each.line_id in bins]
        others = [each for each in self.waiting if each.line_id not in bins]
        chosen = {each.key for each in [*named, *others][:given]}
        return sorted(
            (each for each in self.waiting if each.key in chosen),
            key=lambda each: each.line_id not in bins,
        )

    def _fetch(self, line: StockLine, take: int) -> Verdict:
        place = line.place.path_name or line.place.name
        words = _("Take {take} of the {count} in {place}.")
        said = words.format(take=take, count=line.count, place=place)
        return _at_line(line, State.TO_FETCH, said)

    def _later(self, drawing: Drawing, share: Share) -> Verdict:
        words = _("{count} of {drawing}, bin chosen at staging.")
        if self._is_near() or self.facts.is_fetching:
            words = _("{count} of {drawing}: they come back before this kit is gathered.")
        said = words.format(count=share.to_fetch - sum(self.taken.values()), drawing=drawing.number)
        seen = any(line.seen_at for line in self.pool.lines if line.count)
        return Verdict(State.TO_FETCH, said, not_yet_seen=not seen)

    def _lacking(self, turn: int, share: Share) -> Verdict:
        """The nth position for which there is none when the kit gathers."""
        if turn <= share.taken:
            return self._held_by_another(turn, share)
        line = self._unusable_one(turn - share.taken)
        if line is not None:
            state, said = _why_not(self.facts, line)
            return _at_line(line, state or State.HELD, said)
        unusable = sum(each.count for each in self.pool.lines if self._counts_not(each))
        short = max(1, share.missing - unusable)
        words = _("Only {count} of the {wanted} {drawing} still wanted are in the shop. Make or "
                  "buy {short}.")  # fmt: skip
        said = words.format(
            count=len(self.waiting) - short,
            wanted=len(self.waiting),
            drawing=self.waiting[0].drawing.number,
            short=short,
        )
        return Verdict(State.MISSING, said)

    def _held_by_another(self, turn: int, share: Share) -> Verdict:
        holder = share.holder_of(turn)
        assert holder is not None
        kit = self.facts.others[holder.key]
        words = _("Of the {wanted} {drawing} still wanted {short} are with job {job}, kit {kit}; "
                  "due back {due}.")  # fmt: skip
        said = words.format(
            wanted=len(self.waiting),
            drawing=self.waiting[0].drawing.number,
            short=min(share.taken, holder.count),
            job=kit.binding.job,
            kit=kit.number,
            due=moment(holder.until),
        )
        return Verdict(State.TAKEN, said, due_back=holder.until, other_kit=kit.number)

    def _unusable_one(self, nth: int) -> StockLine | None:
        """The bin of the nth that the shop has but this kit cannot use: away, held, damaged."""
        graver = {State.OUT: 0, State.HELD: 1, State.WORN: 2}
        lines = [(why, line) for line in self.pool.lines if (why := self._counts_not(line))]
        for _why, line in sorted(lines, key=lambda pair: graver[pair[0]]):
            nth -= line.count
            if nth <= 0:
                return line
        return None

    def _counts_not(self, line: StockLine) -> State | None:
        return _why_not(self.facts, line)[0] if line.count else None


def _next_bin(bins: dict[int, int], wished: int | None) -> int | None:
    """Take one out of the bin wished for, else out of the first that has any for this kit."""
    if wished is not None and bins.get(wished):
        bins[wished] -= 1
        return wished
    found = next((key for key, count in bins.items() if count), None)
    if found is not None:
        bins[found] -= 1
    return found


def _why_not(facts: Facts, line: StockLine) -> tuple[State | None, str]:
    """Why a bin's count is not for this kit; None when it is."""
    place = line.place.path_name or line.place.name
    if line.condition in NOT_FIT:
        words = _("What is in {place} is {condition}.")
        return State.WORN, words.format(place=place, condition=line.get_condition_display())
    if line.condition == Condition.HOLD:
        return State.HELD, _("What is in {place} is held.").format(place=place)
    if not facts.pools.lets(line, facts.job):
        words = _("What is in {place} belongs to {owner}, who has not agreed to other jobs.")
        return State.HELD, words.format(place=place, owner=line.owner.name)
    beyond = facts.away.beyond_reach(line.place)
    if beyond is not None:
        return State.OUT, _("They are away: {place}.").format(place=beyond.name)
    return None, ""


def _at_line(line: StockLine, state: State, said: str) -> Verdict:
    return Verdict(
        state,
        said,
        place=line.place.path_name or line.place.name,
        place_code=line.place.code,
        not_yet_seen=line.seen_at is None,
        stock=line.code,
        stock_owner=line.owner.name,
        stock_count=line.count,
    )


def moment(when: datetime) -> str:
    """A moment in the shop's own time."""
    return date_format(timezone.localtime(when), "Y-m-d H:i")


def bins_to_offer(
    facts: Facts, drawing: int, rows: Sequence[Claimed], lacking: int
) -> list[Alternative]:
    """For positions whose piece is in trouble: one of the count each, as far as it can be spared
    beside what the kit's pooled positions want."""
    pool = facts.pools.by_drawing.get(drawing)
    if pool is None:
        return []
    waiting = [each for each in rows if each.drawing.pk == drawing and not each.is_staged]
    me = claim_of(facts, drawing, waiting, more=lacking)
    most = pool.share(me, among=facts.others).to_fetch
    bins = pool.bins_of(me, among=facts.others, most=most)
    lines = {line.pk: line for line in pool.lines}
    each_one = [lines[key] for key, count in bins.items() for _n in range(count)]
    return [
        Alternative(
            "stock",
            line.code,
            "",
            line.place.path_name or line.place.name,
            line.place.code,
            line.count,
        )
        for line in each_one[len(waiting) :]
    ]


def spared(facts: Facts, drawing: int, rows: Sequence[Claimed], lacking: int) -> int:
    """For how many of the lacking positions the pool has one when the kit gathers, beside what
    the kit's pooled positions (``rows``, not staged) have of it."""
    pool = facts.pools.by_drawing.get(drawing)
    if pool is None:
        return 0
    me = claim_of(facts, drawing, rows, more=lacking)
    return max(0, pool.share(me, among=facts.others).to_fetch - len(rows))
