"""``https`` as whoever installs a shop meets it; ``serve`` with it: test_demo.py."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

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
