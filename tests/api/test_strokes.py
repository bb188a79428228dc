"""Strokes and sharpenings of line tooling by program and by page."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.world import World
from tooling.models import Person, Piece


@pytest.fixture
def blade(world: World) -> Piece:
    drawing = world.drawing("CB-01", kind="line_tooling", strokes_to_sharpen=20_000)
    return world.piece(drawing, world.place("Rack A"), mark="CB-01")


def test_strokes_are_written_down_and_a_sharpening_by_program_and_page(
    api_as: Any, client: Client, engineer: Person, blade: Piece
) -> None:
    api, url = api_as(engineer), f"/api/v1/pieces/{blade.code}/"
    made = api.post(f"{url}lengths/", {"strokes": 12_000}, format="json")
    assert (made.status_code, made.json()["length_m"], made.json()["strokes"]) == (201, "0", 12_000)
    both = {"strokes": 3_000, "length_m": "9000"}
    assert api.post(f"{url}lengths/", both, format="json").json()["length_m"] == "9000"
    nothing = api.post(f"{url}lengths/", {"strokes": 0}, format="json")
    assert nothing.json()["code"] == "invalid"
    told = api.get(url).json()
    assert (told["strokes_run"], told["strokes_since_sharpened"], told["strokes_to_sharpen"]) == (
        15_000, 15_000, 20_000,
    )  # fmt: skip
    client.force_login(engineer, backend="django.contrib.auth.backends.ModelBackend")
    client.post(f"/pieces/{blade.code}/length/", {"strokes": "500", "length": ""})
    page = client.get(f"/pieces/{blade.code}/").content.decode()
    assert "15\u202f500 since it was last sharpened" in page
    refused = client.post(f"/pieces/{blade.code}/length/", {"strokes": "", "length": ""})
    assert b'data-code="absurd_length"' in refused.content
    today = timezone.localdate().isoformat()
    api.post(f"{url}work/", {"kind": "sharpen", "done_on": today}, format="json")
    # what was made today counts as after today's sharpening
    assert api.get(url).json()["strokes_since_sharpened"] == 15_500
