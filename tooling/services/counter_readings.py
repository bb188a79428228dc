"""A mill's length counter, as a program tells it: in batches, that may repeat, come late or out of
order, and go on after a reset."""

from __future__ import annotations

import uuid as uuids
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import LONGEST_STRIP_NM
from tooling.errors import ToolingError
from tooling.models import CounterReading, Mill, Person
from tooling.permissions import Verb, check_can
from tooling.services.readings import CLOCKS_DIFFER
from tooling.services.write import writing

MOST = 5_000


@dataclass(frozen=True)
class CounterIn:
    """One reading: its id from the sender, what the counter stood at in nm, and when."""

    id: uuids.UUID
    value_nm: int
    happened_at: datetime
    counter: str = ""
    was_reset: bool = False


@dataclass(frozen=True)
class CounterResult:
    """What became of one reading: taken, repeated or refused with its code and sentence."""

    id: uuids.UUID
    status: str
    code: str = ""
    message: str = ""


def record_counter(
    *, by: Person, at: datetime, mill: Mill, readings: Sequence[CounterIn]
) -> list[CounterResult]:
    """Keep what the counter told; what was sent before counts once. Each reading is judged by
    itself: ``id_reused``, ``in_the_future``, ``absurd_length``.

    Raises NotAllowed, ``too_many`` for a batch that is too long.
    """
    check_can(by, Verb.RECORD_RUNS)
    if len(readings) > MOST:
        raise ToolingError(
            "too_many",
            _("{count} readings at once are too many; send {most} at most."),
            count=len(readings),
            most=MOST,
        )
    with writing():
        known = {
            row.uuid: row
            for row in CounterReading.objects.filter(uuid__in=[each.id for each in readings])
        }
        results, new = [], []
        for each in readings:
            result = _judge(each, mill, known.get(each.id), at)
            if result.status == "taken":
                known[each.id] = row = _row(each, mill, by, at)
                new.append(row)
            results.append(result)
        CounterReading.objects.bulk_create(new)
    return results


def _judge(
    each: CounterIn, mill: Mill, there: CounterReading | None, at: datetime
) -> CounterResult:
    if there is not None:
        told = (there.mill_id, there.counter, there.value_nm, there.was_reset, there.happened_at)
        if told == (mill.pk, each.counter, each.value_nm, each.was_reset, each.happened_at):
            return CounterResult(each.id, "repeated")
        return _refused(each, "id_reused", _("This id told something else before; that stands."))
    if each.happened_at > at + CLOCKS_DIFFER:
        return _refused(each, "in_the_future", _("That time is still to come."))
    if not 0 <= each.value_nm <= LONGEST_STRIP_NM:
        return _refused(each, "absurd_length", _("No counter stands at that."))
    return CounterResult(each.id, "taken")


def _refused(each: CounterIn, code: str, said: object) -> CounterResult:
    return CounterResult(each.id, "refused", code, str(said))


def _row(each: CounterIn, mill: Mill, by: Person, at: datetime) -> CounterReading:
    return CounterReading(
        uuid=each.id, mill=mill, counter=each.counter, value_nm=each.value_nm,
        was_reset=each.was_reset, happened_at=each.happened_at, received_at=at, by=by,
    )  # fmt: skip
