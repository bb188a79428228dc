"""PINs: who came by badge shows by one that the badge is theirs before what cannot be undone.

A badge names a person and can be borrowed; proving a set, an owner's answer and a release carry a
name for years. ``check`` is the one gate for all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from django.contrib.auth.hashers import check_password, make_password
from django.utils.translation import gettext_lazy as _

from tooling.errors import PinNeeded, ToolingError
from tooling.models import Person
from tooling.permissions import Verb, check_can
from tooling.services.write import record_change, writing

LEAST_DIGITS, MOST_DIGITS = 4, 8
CONFIRMED_FOR = timedelta(minutes=2)
WRONG_TIMES = 5
LOCKED_FOR = timedelta(minutes=15)


@dataclass(frozen=True)
class CameBy:
    """How somebody is known in this session: by badge or by password; when a PIN was last right."""

    badge: bool
    confirmed_at: datetime | None = None

    def needs_pin(self, at: datetime) -> bool:
        """Whether what cannot be undone asks for a PIN now."""
        since = self.confirmed_at
        return self.badge and (since is None or not timedelta() <= at - since <= CONFIRMED_FOR)


def check(*, by: Person, at: datetime, came: CameBy, pin: str) -> bool:
    """Let through whoever came by password, or whose PIN is right now or was just now. True: it
    was given now, so that the session remembers.

    Raises PinNeeded ``pin_needed``, ``pin_not_set``, ``pin_wrong``, ``pin_locked``.
    """
    if not came.needs_pin(at):
        return False
    pin = pin.strip()
    with writing():
        person = Person.objects.select_for_update().get(pk=by.pk)
        problem = _problem(person, at, pin)
        if problem is None and person.pin_failures:
            _count(person, 0, None)
        elif problem is not None and problem.code == "pin_wrong":
            _fail(person, at)
    if problem is not None:
        raise problem
    return True


def _problem(person: Person, at: datetime, pin: str) -> PinNeeded | None:
    if not person.pin:
        return PinNeeded(
            "pin_not_set",
            _("This needs your PIN, and you have none yet. Log in with your password on any "
              "device, and set one under Shop, My units and password."),
            in_field="pin",
        )  # fmt: skip
    if person.pin_locked_until is not None and at < person.pin_locked_until:
        minutes = -((at - person.pin_locked_until) // timedelta(minutes=1))
        return PinNeeded(
            "pin_locked",
            _("The PIN was wrong too often. Wait {minutes} min, or log in with your password."),
            minutes=minutes,
            in_field="pin",
        )
    if not pin:
        return PinNeeded(
            "pin_needed",
            _("You came by badge: give your PIN to show that it is you."),
            in_field="pin",
        )
    if not check_password(pin, person.pin):
        return PinNeeded(
            "pin_wrong", _("That is not the PIN of {name}."), name=person.name, in_field="pin"
        )
    return None


def _fail(person: Person, at: datetime) -> None:
    failures = person.pin_failures + 1
    if failures < WRONG_TIMES:
        _count(person, failures, None)
        return
    _count(person, 0, at + LOCKED_FOR)
    record_change(by=person, at=at, subject=person, key=person.username, what="PIN locked")


def _count(person: Person, failures: int, locked_until: datetime | None) -> None:
    person.pin_failures, person.pin_locked_until = failures, locked_until
    person.save(update_fields=["pin_failures", "pin_locked_until"])


def set_pin(*, by: Person, at: datetime, person: Person, pin: str) -> None:
    """A new PIN, chosen by the person or given by a supervisor; it unlocks too.

    Raises ToolingError ``weak_pin``, NotAllowed.
    """
    if by.pk != person.pk:
        check_can(by, Verb.RUN_SHOP)
    pin = pin.strip()
    check_strength(pin)
    with writing():
        fresh = Person.objects.select_for_update().get(pk=person.pk)
        fresh.pin = make_password(pin)
        fresh.pin_failures, fresh.pin_locked_until = 0, None
        fresh.save(update_fields=["pin", "pin_failures", "pin_locked_until"])
        record_change(by=by, at=at, subject=fresh, key=fresh.username, what="PIN set")


def check_strength(pin: str) -> None:
    """Raises ToolingError ``weak_pin``."""
    digits = [ord(each) for each in pin]
    steps = {later - earlier for earlier, later in pairwise(digits)}
    is_digits = pin.isascii() and pin.isdigit() and LEAST_DIGITS <= len(pin) <= MOST_DIGITS
    if not is_digits or steps in ({0}, {1}, {-1}):
        raise ToolingError(
            "weak_pin",
            _("A PIN is {least} to {most} digits, not all the same and not simply counted up or "
              "down."),
            least=LEAST_DIGITS, most=MOST_DIGITS, in_field="pin",
        )  # fmt: skip
