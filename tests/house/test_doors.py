"""What every door does whoever comes: headers, cookies, forged forms."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

pytestmark = pytest.mark.django_db
DOORS = ("/login/", "/healthz", "/pieces/", "/api/v1/pieces/", "/api/v1/nowhere/", "/nowhere/")


@pytest.mark.parametrize("address", DOORS)
def test_every_answer_carries_the_policy(client: Client, address: str) -> None:
    headers = client.get(address).headers
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert "unsafe-inline" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"


def test_no_script_reads_the_session_cookie(client: Client, crew: Any) -> None:
    client.post("/login/", {"username": "crew", "password": "crew-pass-word"})
    cookie = client.cookies["sessionid"]
    assert cookie["httponly"] is True
    assert cookie["samesite"] == "Lax"


@pytest.mark.parametrize(
    ("address", "sent"), [("/shop/myself/", {}), ("/api/v1/owners/", {"code": "X", "name": "X"})]
)
def test_a_forged_form_does_nothing(supervisor: Any, address: str, sent: dict[str, str]) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(supervisor, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.post(address, sent, content_type="application/json")
    assert answer.status_code == 403


def test_a_token_needs_no_form_and_leaves_no_cookie(api_as: Any, supervisor: Any) -> None:
    answer = api_as(supervisor).post("/api/v1/owners/", {"code": "X", "name": "X"}, format="json")
    assert answer.status_code == 201
    assert not answer.cookies


@pytest.mark.parametrize("token", ["", "Token", "Token nonsense", "Token a b", "Bearer x"])
def test_a_wrong_token_is_nobody(client: Client, token: str) -> None:
    answer = client.get("/api/v1/pieces/", headers={"Authorization": token})
    assert answer.status_code == 401
    assert set(answer.json()) == {"code", "message", "detail"}
    assert answer.headers["WWW-Authenticate"] == "Token"


def test_whoever_left_the_shop_is_nobody(api_as: Any, supervisor: Any) -> None:
    client = api_as(supervisor)
    supervisor.is_active = False
    supervisor.save(update_fields=["is_active"])
    assert client.get("/api/v1/pieces/").status_code == 401
