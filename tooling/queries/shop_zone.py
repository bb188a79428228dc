"""The one time zone that the whole shop lives in."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo

from django.db.models import QuerySet, Subquery
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Person, Shop


def zone_named(name: str | None) -> ZoneInfo:
    """The zone of that IANA name; UTC for none, and for one that is none (``doctor`` tells)."""
    try:
        return ZoneInfo(name or "UTC")
    except (KeyError, ValueError, OSError):  # unknown; no name at all, as ".."; a folder, "Europe"
        return ZoneInfo("UTC")


def shop_zone() -> ZoneInfo:
    """The shop's own zone; UTC until it says. One query."""
    return zone_named(Shop.objects.values_list("time_zone", flat=True).first())


def by_the_clock(
    written: datetime, zone: tzinfo, *, first_of_two: bool = False, may_be_empty: bool = False
) -> datetime:
    """The moment when the zone's clocks showed what is written (without a zone).

    Raises ToolingError ``no_such_time`` where the clocks were put on over it, ``time_twice`` where
    they were put back and it came twice, unless the first is meant.
    """
    told = {"day": f"{written:%Y-%m-%d}", "time": f"{written:%H:%M}"}
    first, second = (written.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset() or (first_of_two and _was(first)):
        return first
    if not _was(first):
        text = _(
            "On {day} the clock is put on and there is no {time}. Write the time that it shows."
        )
        raise ToolingError("no_such_time", text, **told)
    text = _(
        "On {day} the clock is put back and it is {time} twice. Write a time before that hour or "
        "after it."
    )
    if may_be_empty:
        text = _(
            "On {day} the clock is put back and it is {time} twice. Write a time before that "
            "hour or after it; leave it empty for now."
        )
    raise ToolingError("time_twice", text, **told)


def _was(moment: datetime) -> bool:
    back = moment.astimezone(UTC).astimezone(moment.tzinfo)
    return back.replace(tzinfo=None) == moment.replace(tzinfo=None)


def zone_column() -> Subquery:
    """The zone's name as a column of another query, so that asking for it costs no statement."""
    return Subquery(Shop.objects.values("time_zone")[:1])


def people_with_zone() -> QuerySet[Person]:
    """People, each with ``shop_zone``, the name of the shop's zone or None."""
    return Person.objects.annotate(shop_zone=zone_column())
