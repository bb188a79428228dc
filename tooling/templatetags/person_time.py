"""Times as a person says them."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

HOURS_SAID_AS_HOURS = 12


def say_time(when: datetime, *, at: datetime) -> str:
    """``when`` as somebody would say it at the time ``at``: in 3 h, tomorrow 06:00, 2 Dec.

    Both are aware; days are those of the active time zone.
    """
    ahead = when - at
    if abs(ahead) < timedelta(seconds=45):
        return _("now")
    if abs(ahead) < timedelta(hours=HOURS_SAID_AS_HOURS):
        said = _say_span(abs(ahead))
        return _("in {span}").format(span=said) if ahead > timedelta() else _say_ago(said)
    return _say_day(timezone.localtime(when), timezone.localtime(at))


def say_day(day: date, *, today: date) -> str:
    """A day without an hour: today, yesterday, Mon 23 Nov, 26 Oct, 24 Jan 2027."""
    days = (day - today).days
    named = _named_day(days)
    if named:
        return named
    if abs(days) < 7:
        return date_format(day, "D j M")
    return date_format(day, "j M" if day.year == today.year else "j M Y")


def _named_day(days: int) -> str | None:
    return {-1: _("yesterday"), 0: _("today"), 1: _("tomorrow")}.get(days)


def _say_ago(span: str) -> str:
    return _("{span} ago").format(span=span)


def _say_span(span: timedelta) -> str:
    minutes = max(1, round(span.total_seconds() / 60))
    if minutes < 90:
        return ngettext("{n} min", "{n} min", minutes).format(n=minutes)
    return _("{n} h").format(n=round(minutes / 60))


def _say_day(when: datetime, at: datetime) -> str:
    clock = date_format(when, "H:i")
    days = (when.date() - at.date()).days
    named = _named_day(days)
    if named:
        return f"{named} {clock}"
    if abs(days) < 7:
        return date_format(when, "l H:i") if days > 0 else date_format(when, "D j M H:i")
    return date_format(when, "j M" if when.year == at.year else "j M Y")
