"""The states of positions that claim one of a count, bin by bin.

What a bin in the kit's own gathering place holds is staged for positions already: it has no more.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from django.utils.translation import gettext as _

from tooling.models import NOT_FIT, Condition, StockLine
from tooling.queries.condition_facts import Facts
from tooling.queries.kit_views import State, Verdict
from tooling.queries.spares import owner_lets

Claimed = tuple[int, StockLine, bool]
"""Key of the position, its bin, whether one of the count is staged for it."""


def verdicts(facts: Facts, claimed: Iterable[Claimed]) -> dict[int, Verdict]:
    """State by key. What a bin still holds goes to the positions in the order given."""
    found: dict[int, Verdict] = {}
    waiting: dict[int, list[tuple[int, StockLine]]] = defaultdict(list)
    for key, line, is_staged in claimed:
        if is_staged:
            found[key] = Verdict(State.HERE, _("Here, with the kit."))
        else:
            waiting[line.pk].append((key, line))
    for rows in waiting.values():
        line = rows[0][1]
        for turn, (key, _line) in enumerate(rows):
            found[key] = _one(facts, line, turn, len(rows))
    return found


def _one(facts: Facts, line: StockLine, turn: int, wanted: int) -> Verdict:
    place = line.place.path_name or line.place.name
    state, reason, other = _state(facts, line, turn, wanted, place)
    due = None
    if state == State.TAKEN:
        due = max(claim.kit.binding.ends for claim in facts.stock_before(line.pk))
    return Verdict(
        state,
        reason,
        place=place,
        place_code=line.place.code,
        due_back=due,
        other_kit=other,
        not_yet_seen=line.seen_at is None,
    )


def _state(
    facts: Facts, line: StockLine, turn: int, wanted: int, place: str
) -> tuple[State, str, str]:
    if line.condition in NOT_FIT:
        words = _("What is in {place} is {condition}.")
        return State.WORN, words.format(place=place, condition=line.get_condition_display()), ""
    if line.condition == Condition.HOLD or not owner_lets(line.owner, facts.job):
        return State.HELD, _("What is in {place} is held.").format(place=place), ""
    beyond = facts.away.beyond_reach(line.place)
    if beyond is not None:
        return State.OUT, _("They are away: {place}.").format(place=beyond.name), ""
    count = 0 if facts.is_gathered(line.place) else line.count
    if turn >= count:
        words = _("Only {count} of the {wanted} still wanted are in {place}.")
        return State.MISSING, words.format(count=count, wanted=wanted, place=place), ""
    before = facts.stock_before(line.pk)
    if turn >= line.count - len(before):
        words = _("{place} holds {count}, of which job {job} gathers {taken} first.")
        said = words.format(
            place=place, count=line.count, job=before[0].kit.binding.job, taken=len(before)
        )
        return State.TAKEN, said, before[0].kit.number
    return State.TO_FETCH, _("Fetch one from {place}.").format(place=place), ""
