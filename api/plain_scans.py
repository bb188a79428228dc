"""Batches of scans as devices send them, read without the serializer, which takes as long for a
thousand scans as recording them does.

Only what the serializer would take as it stands is read here; for all else, right or wrong, it
decides, so there is one set of rules and of errors.
"""

from __future__ import annotations

from datetime import datetime, tzinfo
from typing import Any
from uuid import UUID

from django.utils import timezone

from api.serializers.scans import MOST_CODE, MOST_DEVICE, MOST_SCANS, MOST_SEQUENCE, MOST_TO
from tooling.models import How
from tooling.services.scan_moves import ScanIn

_HOW: dict[Any, How] = {each.value: each for each in (How.SCAN, How.TICK, How.TYPED)}


class _AskTheSerializer(Exception):
    """Something is not in its plainest form."""


def plain_batch(body: Any) -> dict[str, Any] | None:
    """``device``, ``device_now`` and ``scans`` (of ScanIn); None: the serializer must say."""
    if type(body) is not dict:
        return None
    scans, zone = body.get("scans"), timezone.get_current_timezone()
    if type(scans) is not list or len(scans) > MOST_SCANS:
        return None
    try:
        return {
            "device": _text(body["device"], MOST_DEVICE),
            "device_now": _moment(body["device_now"], zone),
            "scans": [_scan(each, zone) for each in scans],
        }
    except (_AskTheSerializer, KeyError, ValueError, OverflowError):
        return None


def _scan(said: Any, zone: tzinfo) -> ScanIn:
    if type(said) is not dict or "due_on" in said or said.get("quantity") is not None:
        raise _AskTheSerializer
    get = said.get
    to, how, corrects, home = get("to", ""), get("how", "scan"), get("corrects"), get("only_home")
    if type(how) is not str or how not in _HOW:
        raise _AskTheSerializer
    if type(home) is not bool and "only_home" in said:
        raise _AskTheSerializer
    return ScanIn(
        id=_key(said["id"]),
        happened_at=_moment(said["happened_at"], zone),
        to=_text(to, MOST_TO) if to != "" else "",
        code=_text(said["code"], MOST_CODE),
        how=_HOW[how],
        corrects=None if corrects is None else _key(corrects),
        sequence=_sequence(get("sequence")),
        only_home=bool(home),
    )


def _text(said: Any, longest: int) -> str:
    """A text without anything around it, and nothing in it that cannot be seen."""
    if type(said) is not str or not 0 < len(said) <= longest:
        raise _AskTheSerializer
    if said != said.strip() or not said.isprintable():
        raise _AskTheSerializer
    return said


def _key(said: Any) -> UUID:
    if type(said) is not str:
        raise _AskTheSerializer
    return UUID(said)


def _moment(said: Any, zone: tzinfo) -> datetime:
    """Of a time with its offset; without, it takes the shop's clock."""
    if type(said) is not str:
        raise _AskTheSerializer
    when = datetime.fromisoformat(said)
    if when.tzinfo is None:
        raise _AskTheSerializer
    return when.astimezone(zone)


def _sequence(said: Any) -> int | None:
    if said is not None and (type(said) is not int or not 0 <= said <= MOST_SEQUENCE):
        raise _AskTheSerializer
    return said
