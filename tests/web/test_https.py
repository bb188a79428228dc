"""The page that makes phones ready: for everybody, with the authority and a code to open it."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from cryptography import x509
from django.test import Client

from tooling.services import certificates

pytestmark = pytest.mark.django_db
PAGE = "/shop/https/"


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path) -> None:
    settings.DATA_DIR = tmp_path


@pytest.fixture
def made(own_folder) -> certificates.Kept:
    return certificates.make(
        at=datetime.now(UTC), names=["tools.lan"], machine=["10.0.0.9", "127.0.0.1"]
    )


def page(client: Client, **headers) -> str:
    return client.get(PAGE, **headers).content.decode()


def test_without_a_certificate_it_teaches_the_command(client) -> None:
    shown = page(client, headers={"host": "tools.lan:8000"})
    assert "python3 manage.py https --name tools.lan</code>" in shown
    assert "authority.crt" not in shown


def test_without_a_certificate_nothing_is_handed_out(client) -> None:
    answer = client.get(PAGE + "authority.crt")
    assert answer.status_code == 404
    assert 'data-code="no_authority"' in answer.content.decode()


def test_a_stranger_takes_the_authority_and_never_a_key(client, made) -> None:
    der = client.get(PAGE + "authority.crt")
    assert der["Content-Type"] == "application/x-x509-ca-cert"
    pem = client.get(PAGE + "authority.pem").content
    assert x509.load_der_x509_certificate(der.content) == x509.load_pem_x509_certificate(pem)
    assert b"PRIVATE" not in pem


@pytest.mark.parametrize("role", [None, "viewer", "crew"])
def test_everybody_sees_how_it_is_put_on_a_phone(client, log_in, cast, made, role) -> None:
    shown = page(log_in(cast[role]) if role else client)
    assert made.fingerprint in shown
    assert all(word in shown for word in ("Android", "iPhone", "Windows", "Firefox"))
    assert len(re.findall(r'data-check="\w+"', shown)) == 8


def test_the_code_opens_the_page_under_the_name_that_was_asked_for(client, made) -> None:
    shown = page(client, headers={"host": "tools.lan:8443"})
    assert "https://tools.lan:8443/shop/https/" in shown


def test_from_the_server_itself_the_code_names_an_address_that_others_reach(client, made) -> None:
    shown = page(client, headers={"host": "localhost:8443"})
    assert "https://10.0.0.9:8443/shop/https/" in shown


def test_it_says_that_one_came_without_https(client, made) -> None:
    assert "You came by plain HTTP" in page(client)
    assert "You came by plain HTTP" not in page(client, secure=True)
