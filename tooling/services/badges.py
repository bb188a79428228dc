"""Badges name people on shared tablets: issue one, or take over the shop's own; end it."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import looks_like_code
from tooling.errors import Conflict, ToolingError
from tooling.models import Badge, Person
from tooling.permissions import Verb, check_can
from tooling.queries.badges import OWN, badge_key
from tooling.services.write import record_change, writing

_LETTERS = "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_LENGTH = 20
"""Of 34 letters: 101 bits, not to be guessed at any rate."""
LEAST_READ, MOST_READ = 4, 200


@dataclass(frozen=True)
class Issued:
    """A new badge, and what its code holds; that is told once and kept nowhere."""

    badge: Badge
    text: str


def issue_badge(
    *, by: Person, at: datetime, person: Person, read: str = "", label: str = ""
) -> Issued:
    """A badge for a person: the shop's own by what a scanner ``read`` from it, else a new one.

    Raises NotAllowed, ToolingError ``badge_too_short``, ``badge_is_label``, Conflict
    ``badge_taken``, ``person_inactive``.
    """
    check_can(by, Verb.RUN_SHOP)
    text = "".join(read.split()) or OWN + "".join(secrets.choice(_LETTERS) for _n in range(_LENGTH))
    _check_read(text)
    with writing():
        fresh = Person.objects.select_for_update().get(pk=person.pk)
        if not fresh.is_active:
            raise Conflict("person_inactive", _("{name} may not log in any more."), name=fresh.name)
        _check_free(text)
        badge = Badge.objects.create(
            person=fresh, key=badge_key(text), label=label.strip()[:60], issued_at=at, issued_by=by
        )
        _tell(by, at, badge, "badge issued")
    return Issued(badge, text)


def end_badge(*, by: Person, at: datetime, badge: Badge) -> None:
    """The badge names nobody any more: lost, given back. Ending it twice changes nothing."""
    check_can(by, Verb.RUN_SHOP)
    with writing():
        fresh = Badge.objects.select_for_update(of=("self",)).select_related("person")
        row = fresh.get(pk=badge.pk)
        if row.ended_at is None:
            row.ended_at = at
            row.save(update_fields=["ended_at"])
            _tell(by, at, row, "badge ended")


def _tell(by: Person, at: datetime, badge: Badge, what: str) -> None:
    after = {"badge": badge.label or f"no. {badge.pk}"}
    person = badge.person
    record_change(by=by, at=at, subject=person, key=person.username, what=what, after=after)


def _check_read(text: str) -> None:
    if not LEAST_READ <= len(text) <= MOST_READ or not text.isprintable():
        raise ToolingError(
            "badge_too_short",
            _("“{text}” is too short or too long for a badge: {least} to {most} characters. Scan "
              "it once more."),
            text=text[:40], least=LEAST_READ, most=MOST_READ, in_field="read",
        )  # fmt: skip
    if looks_like_code(text):
        raise ToolingError(
            "badge_is_label",
            _("{text} is a label of tooling, not a badge."),
            text=text[:40],
            in_field="read",
        )


def _check_free(text: str) -> None:
    taken = Badge.objects.filter(key=badge_key(text), ended_at=None).select_related("person")
    other = taken.first()
    if other is not None:
        raise Conflict(
            "badge_taken",
            _("That badge is {name}'s. End it there first."),
            name=other.person.name,
            in_field="read",
        )
