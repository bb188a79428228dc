"""In whose name a command writes."""

from __future__ import annotations

from django.core.management.base import CommandError

from tooling.models import Person, Role


def acting_person(username: str | None) -> Person:
    """The named person, else the first supervisor. Raises CommandError when there is none."""
    people = Person.objects.filter(is_active=True)
    if username:
        person = people.filter(username=username).first()
        if person is None:
            raise CommandError(f"there is no active person with the user name {username}")
        return person
    person = people.filter(roles__role=Role.SUPERVISOR).order_by("pk").first()
    if person is None:
        raise CommandError("there is no supervisor yet in whose name to do this; give --by NAME")
    return person
