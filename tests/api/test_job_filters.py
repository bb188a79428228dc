"""Jobs between two moments."""

from __future__ import annotations

from typing import Any

import pytest

from tests.world import World
from tooling.models import Person

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("moment", "status"),
    [
        ("2026-11-25T09:00:00Z", 200),
        ("0609-12-12T18:30:30+18:31", 200),  # PostgreSQL reads no such offset
        ("0001-01-01T00:00:00+14:00", 400),  # before the first day there is
        ("9999-12-31T23:00:00-14:00", 400),
    ],
)
def test_any_moment_is_read_or_refused(
    moment: str, status: int, world: World, viewer: Person, api_as: Any
) -> None:
    for name in ("starts_after", "starts_before"):
        assert api_as(viewer).get("/api/v1/jobs/", {name: moment}).status_code == status
