"""The value at which a gauge point is worn out, from its depth limit."""

from __future__ import annotations

import pytest

from tooling.models import GaugePoint
from tooling.queries.conformity import limit_of

pytestmark = pytest.mark.one_database
NEW, DEPTH = 100_000_000, 100_000


@pytest.mark.parametrize(
    ("fields", "falls"),
    [
        ({"is_diameter": True}, 200_000),
        ({"is_diameter": False}, 100_000),
        ({"is_diameter": True, "face_angle_deg": 60.0}, 400_000),
        ({"dimension": "face_width", "is_diameter": False}, 100_000),
        ({"dimension": "face_width", "is_diameter": False, "face_angle_deg": 30.0}, 200_000),
    ],
)
def test_across_an_inclined_face_the_value_falls_by_more(
    fields: dict[str, object], falls: int
) -> None:
    """By hand: 2w on a diameter, 2w/cos 60° = 4w across, w/sin 30° = 2w along the shaft."""
    point = GaugePoint(depth_limit_nm=DEPTH, **fields)  # type: ignore[misc]
    assert limit_of(point, NEW) == pytest.approx(NEW - falls)
    point.grows = True
    assert limit_of(point, NEW) == pytest.approx(NEW + falls)


def test_a_limit_of_its_own_wins() -> None:
    point = GaugePoint(depth_limit_nm=DEPTH, limit_nm=99_000_000)
    assert limit_of(point, NEW) == 99_000_000
