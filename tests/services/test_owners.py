"""Owners: one is the shop, codes are unique, every edit leaves a change row."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.world import World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Owner, Person
from tooling.services import owners


def test_a_customer_becomes_an_owner_and_the_change_says_who(
    supervisor: Person, at: datetime, world: World
) -> None:
    owner = owners.create_owner(by=supervisor, at=at, code=" quil ", name="Quillmoor Racking")
    change = Change.objects.get(subject="Owner", subject_key="QUIL")
    assert (owner.code, change.by, change.what) == ("QUIL", supervisor, "created")
    assert change.after["name"] == "Quillmoor Racking"


def test_an_edit_records_what_was_and_what_is(
    supervisor: Person, at: datetime, world: World
) -> None:
    owners.edit_owner(by=supervisor, at=at, owner=world.shop, consent_reference="binder 4")
    change = Change.objects.get(subject="Owner", subject_key="SHOP")
    assert (change.before, change.after) == (
        {"consent_reference": ""},
        {"consent_reference": "binder 4"},
    )


def test_saving_the_same_again_leaves_no_change_row(
    supervisor: Person, at: datetime, world: World
) -> None:
    owners.edit_owner(by=supervisor, at=at, owner=world.shop, name=world.shop.name)
    assert not Change.objects.exists()


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew", "engineer"])
def test_only_a_supervisor_changes_owners(
    role: str, cast: dict[str, Person], at: datetime, world: World
) -> None:
    with pytest.raises(NotAllowed):
        owners.create_owner(by=cast[role], at=at, code="X", name="X")
    assert Owner.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"code": "shop", "name": "Another"}, "already_there"),
        ({"code": "", "name": "Another"}, "empty_text"),
        ({"code": "X", "name": "  "}, "empty_text"),
        ({"code": "X", "name": "n" * 121}, "long_text"),
        ({"code": "X", "name": "Another", "is_shop": True}, "one_shop"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_saved(
    fields: dict[str, object], code: str, supervisor: Person, at: datetime, world: World
) -> None:
    with pytest.raises(ToolingError) as refused:
        owners.create_owner(by=supervisor, at=at, **fields)
    assert refused.value.code == code
    assert not Change.objects.exists()


def test_without_its_history_row_an_edit_is_not_saved(
    supervisor: Person, at: datetime, world: World
) -> None:
    with pytest.raises(TypeError):
        owners.edit_owner(by=supervisor, at=at, owner=world.shop, contact=object())
    assert Owner.objects.get().contact == ""
