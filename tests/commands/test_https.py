"""``https`` and ``serve`` as whoever installs a shop meets them: real processes, a real client."""

from __future__ import annotations

import http.client
import io
import json
import ssl
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.commands.test_demo import free_port, running

pytestmark = pytest.mark.one_database


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def made(*arguments: str) -> dict[str, str]:
    said = io.StringIO()
    call_command("https", "--json", *arguments, stdout=said)
    return json.loads(said.getvalue())


def test_it_is_made_shown_and_made_again() -> None:
    with pytest.raises(CommandError, match="no certificate is made yet"):
        made("--show")
    first = made("--name", "tools.lan")
    assert "tools.lan" in first["names"]
    assert made("--show") == first
    assert made()["fingerprint"] == first["fingerprint"]


def test_a_name_that_cannot_be_is_named() -> None:
    with pytest.raises(CommandError, match="“not a name” is no host name"):
        made("--name", "not a name")


def test_https_that_is_asked_for_and_not_made_is_not_served() -> None:
    with pytest.raises(CommandError, match=r"run: python3 manage.py https"):
        call_command("serve", "--https")


def test_the_server_speaks_https_to_whoever_trusts_the_authority(tmp_path: Path) -> None:
    authority = made()["authority_file"]
    arguments = ("serve", "--no-worker", "--port", str(free_port()))
    with running(tmp_path, *arguments) as (_process, address):
        assert address.startswith("https://127.0.0.1:")
        host = address.removeprefix("https://")
        trusting = ssl.create_default_context(cafile=authority)
        asked = http.client.HTTPSConnection(host, context=trusting, timeout=20)
        asked.request("GET", "/login/")
        cookie = asked.getresponse().headers["Set-Cookie"]
        assert cookie.startswith("__Host-csrftoken=")
        assert "Secure" in cookie
        asked.close()
        with pytest.raises(ssl.SSLCertVerificationError):
            http.client.HTTPSConnection(host, timeout=20).connect()
