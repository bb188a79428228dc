"""``owners/``: the shop itself and its customers."""

from __future__ import annotations

import pytest

from tooling.models import Owner

pytestmark = pytest.mark.django_db


def test_owners_are_told(world, api_as, viewer) -> None:
    client = api_as(viewer)
    expected = {
        "code": "SHOP",
        "name": "The shop",
        "is_shop": True,
        "contact": "",
        "consent_reference": "",
    }
    assert client.get("/api/v1/owners/").json() == {"results": [expected], "next": None}
    assert client.get("/api/v1/owners/shop/").json() == expected


def test_a_supervisor_enters_a_customer_and_their_consent(world, api_as, supervisor) -> None:
    client = api_as(supervisor)
    made = client.post("/api/v1/owners/", {"code": "orn", "name": "Orn & Sons"}, format="json")
    assert (made.status_code, made.json()["code"]) == (201, "ORN")
    edited = client.patch("/api/v1/owners/ORN/", {"consent_reference": "letter 14"}, format="json")
    assert edited.json()["consent_reference"] == "letter 14"


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"code": "SHOP", "name": "X"}, "already_there"),
        ({"code": "X", "name": "X", "is_shop": True}, "one_shop"),
        ({"code": "  ", "name": "X"}, "invalid"),
        ({"code": "X"}, "invalid"),
    ],
)
def test_a_bad_owner_is_refused(world, api_as, supervisor, sent, code) -> None:
    answer = api_as(supervisor).post("/api/v1/owners/", sent, format="json")
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert Owner.objects.count() == 1


def test_an_unknown_owner_is_said(world, api_as, viewer) -> None:
    answer = api_as(viewer).get("/api/v1/owners/NOBODY/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_owner")


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew", "engineer"])
def test_only_a_supervisor_changes_owners(world, api_as, cast, role) -> None:
    client = api_as(cast[role])
    made = client.post("/api/v1/owners/", {"code": "X", "name": "X"}, format="json")
    edited = client.patch("/api/v1/owners/SHOP/", {"name": "X"}, format="json")
    assert (made.status_code, edited.status_code) == (403, 403)
