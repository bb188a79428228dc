"""People and their roles. Nobody is deleted: whoever left is switched off, history keeps them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Person, PersonRole, Role
from tooling.permissions import Verb, check_can
from tooling.services.edits import already_there, apply_edit, record_creation, require_text
from tooling.services.write import record_change, writing


def create_person(
    *,
    by: Person,
    at: datetime,
    username: str,
    name: str,
    password: str,
    roles: Iterable[str],
    **fields: Any,
) -> Person:
    """A new person who can log in. Raises ToolingError ``already_there``, ``weak_password``."""
    check_can(by, Verb.RUN_SHOP)
    username = require_text(username, field="username", label=_("User name"), longest=60).lower()
    name = require_text(name, field="name", label=_("Name"), longest=120)
    wanted = _roles(roles)
    _check_password(password, Person(username=username, name=name))
    with writing():
        if Person.objects.filter(username=username).exists():
            raise already_there(label=_("User name"), text=username, field="username")
        person = Person.objects.create_user(username, password, name=name, **fields)
        PersonRole.objects.bulk_create(PersonRole(person=person, role=r) for r in sorted(wanted))
        values = {"name": name, "roles": ", ".join(sorted(wanted))}
        record_creation(by=by, at=at, row=person, key=username, fields=values)
    return person


def edit_person(
    *,
    by: Person,
    at: datetime,
    person: Person,
    roles: Iterable[str] | None = None,
    **fields: Any,
) -> Person:
    """Change name, roles, or switch somebody off. The last supervisor stays one."""
    check_can(by, Verb.RUN_SHOP)
    if "name" in fields:
        fields["name"] = require_text(fields["name"], field="name", label=_("Name"), longest=120)
    with writing():
        fresh = Person.objects.select_for_update().get(pk=person.pk)
        apply_edit(by=by, at=at, row=fresh, key=fresh.username, fields=fields)
        if roles is not None:
            _give_roles(by=by, at=at, person=fresh, wanted=_roles(roles))
        _keep_a_supervisor()
    return Person.objects.get(pk=fresh.pk)


def set_password(*, by: Person, at: datetime, person: Person, password: str) -> None:
    """A new password, given by a supervisor or chosen by the person."""
    if by.pk != person.pk:
        check_can(by, Verb.RUN_SHOP)
    _check_password(password, person)
    with writing():
        fresh = Person.objects.select_for_update().get(pk=person.pk)
        fresh.set_password(password)
        fresh.save(update_fields=["password"])
        record_change(by=by, at=at, subject=fresh, key=fresh.username, what="password set")


def choose_units(*, by: Person, at: datetime, length_unit: str, strip_unit: str) -> Person:
    """How lengths are shown to this person: everybody chooses for themselves."""
    if length_unit not in ("drawn", "mm", "in") or strip_unit not in ("m", "ft"):
        raise ToolingError(
            "unknown_unit", _("“{unit}” is not a unit."), unit=f"{length_unit} {strip_unit}"
        )
    with writing():
        fresh = Person.objects.select_for_update().get(pk=by.pk)
        fields = {"length_unit": length_unit, "strip_unit": strip_unit}
        apply_edit(by=by, at=at, row=fresh, key=fresh.username, fields=fields)
    return fresh


def _give_roles(*, by: Person, at: datetime, person: Person, wanted: frozenset[str]) -> None:
    had = frozenset(person.roles.values_list("role", flat=True))
    if had == wanted:
        return
    person.roles.exclude(role__in=wanted).delete()
    PersonRole.objects.bulk_create(PersonRole(person=person, role=r) for r in sorted(wanted - had))
    record_change(
        by=by,
        at=at,
        subject=person,
        key=person.username,
        what="roles changed",
        before={"roles": ", ".join(sorted(had))},
        after={"roles": ", ".join(sorted(wanted))},
    )


def _roles(roles: Iterable[str]) -> frozenset[str]:
    wanted = frozenset(str(role) for role in roles)
    unknown = wanted - set(Role.values)
    if unknown or not wanted:
        raise ToolingError(
            "no_role",
            _("Choose at least one role. There are: {roles}."),
            roles=", ".join(str(role.label) for role in Role),
            in_field="roles",
        )
    return wanted


def _keep_a_supervisor() -> None:
    if not Person.objects.filter(is_active=True, roles__role=Role.SUPERVISOR).exists():
        raise Conflict(
            "last_supervisor",
            _("Nobody would be left to give out roles. Make somebody else supervisor first."),
        )


def _check_password(password: str, person: Person) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise ToolingError(
            "weak_password", "{said}", said=" ".join(error.messages), in_field="password"
        )
