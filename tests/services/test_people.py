"""People: roles are given by a supervisor, and somebody who can give them always stays."""

from __future__ import annotations

from datetime import datetime

import pytest

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Person
from tooling.services import people

GOOD = "drill-bush-41"


def test_a_new_person_has_the_roles_given_and_can_log_in(supervisor: Person, at: datetime) -> None:
    made = people.create_person(
        by=supervisor, at=at, username="Rosa", name="Rosa", password=GOOD, roles=["crew", "viewer"]
    )
    assert made.role_set == {"crew", "viewer"}
    assert made.check_password(GOOD)
    assert made.username == "rosa"


def test_roles_taken_and_given_are_recorded(cast: dict[str, Person], at: datetime) -> None:
    changed = people.edit_person(
        by=cast["supervisor"], at=at, person=cast["crew"], roles=["engineer"]
    )
    change = Change.objects.get(subject="Person", subject_key="crew")
    assert changed.role_set == {"engineer"}
    assert (change.before, change.after) == ({"roles": "crew"}, {"roles": "engineer"})


@pytest.mark.parametrize("fields", [{"roles": ["viewer"]}, {"is_active": False}])
def test_the_last_supervisor_stays_one(
    fields: dict[str, object], supervisor: Person, at: datetime
) -> None:
    with pytest.raises(ToolingError) as refused:
        people.edit_person(by=supervisor, at=at, person=supervisor, **fields)
    assert refused.value.code == "last_supervisor"
    assert Person.objects.get(pk=supervisor.pk).role_set == {"supervisor"}
    assert Person.objects.get(pk=supervisor.pk).is_active


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"password": "short"}, "weak_password"),
        ({"password": "password1"}, "weak_password"),
        ({"roles": []}, "no_role"),
        ({"roles": ["king"]}, "no_role"),
        ({"username": "viewer"}, "already_there"),
    ],
)
def test_a_person_without_role_or_with_a_weak_password_is_refused(
    fields: dict[str, object], code: str, cast: dict[str, Person], at: datetime
) -> None:
    values = {"username": "new", "name": "N", "password": GOOD, "roles": ["crew"], **fields}
    with pytest.raises(ToolingError) as refused:
        people.create_person(by=cast["supervisor"], at=at, **values)
    assert refused.value.code == code


def test_everybody_chooses_their_own_units_and_password_but_nobody_elses(
    cast: dict[str, Person], at: datetime
) -> None:
    viewer = cast["viewer"]
    people.choose_units(by=viewer, at=at, length_unit="in", strip_unit="ft")
    people.set_password(by=viewer, at=at, person=viewer, password=GOOD)
    fresh = Person.objects.get(pk=viewer.pk)
    assert (fresh.length_unit, fresh.strip_unit, fresh.check_password(GOOD)) == ("in", "ft", True)
    with pytest.raises(NotAllowed):
        people.set_password(by=viewer, at=at, person=cast["crew"], password=GOOD)


def test_a_password_is_never_in_the_history(supervisor: Person, at: datetime) -> None:
    people.set_password(by=supervisor, at=at, person=supervisor, password=GOOD)
    change = Change.objects.get()
    assert (change.what, change.before, change.after) == ("password set", {}, {})
