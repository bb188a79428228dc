"""Features and old pieces by program, with the same refusals as on the page."""

from __future__ import annotations

from typing import Any

import pytest

from tests.world import MM
from tooling.models import DrawingFeature, Piece, Work
from tooling.services import drawings

pytestmark = pytest.mark.django_db


@pytest.fixture
def die(world):
    return world.drawing("PP-01", kind="line_tooling")


FEATURES = "/api/v1/drawings/PP-01/revisions/A/features/"


def test_a_feature_is_added_changed_and_taken_away(api_as, engineer, die):
    client = api_as(engineer)
    made = client.post(FEATURES, {"shape": "round", "width_mm": "11"}, format="json")
    assert made.json()["revisions"][0]["features"] == [
        {"order": 1, "shape": "round", "name": "", "width_mm": "11", "length_mm": None, "note": ""}
    ]
    body = {"order": 1, "shape": "slot", "width_in": "3/8", "length_in": "1.25"}
    changed = client.post(FEATURES, body, format="json").json()["revisions"][0]["features"]
    assert [(row["width_mm"], row["length_mm"]) for row in changed] == [("9.525", "31.75")]
    assert client.delete(f"{FEATURES}1/").json()["revisions"][0]["features"] == []
    assert client.delete(f"{FEATURES}1/").json()["code"] == "unknown_feature"


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({"shape": "round", "width_mm": "0"}, "not_positive"),
        ({"shape": "round", "width_mm": "5", "length_mm": "5"}, "round_has_one_size"),
        ({"shape": "slot", "width_mm": "9", "length_mm": "5"}, "longer_way_first"),
        ({"shape": "star"}, "invalid"),
    ],
)
def test_what_no_die_makes_is_refused(api_as, engineer, die, body: dict[str, Any], code: str):
    got = api_as(engineer).post(FEATURES, body, format="json")
    assert (got.status_code, got.json()["code"]) == (400, code)
    assert not DrawingFeature.objects.exists()


def test_old_pieces_are_listed_and_settled(api_as, engineer, world):
    drawing, rack = world.drawing("R-1", bore_nm=60 * MM), world.place("Rack A")
    one, other = (world.piece(drawing, rack, mark=mark) for mark in "XY")
    drawings.new_revision(
        by=engineer, at=world.at, drawing=drawing, revision="B", old_pieces="rework", note="relief"
    )
    client, url = api_as(engineer), "/api/v1/drawings/R-1/old-pieces/"
    assert client.get(url).json()[0] == {
        "code": one.code, "mark": "X", "owner": "The shop", "place": rack.code, "revision": "A",
        "what": "rework", "says": "B", "note": "relief",
    }  # fmt: skip
    left = client.post(url, {"act": "reworked", "pieces": [one.code]}, format="json").json()
    assert [row["code"] for row in left] == [other.code]
    refused = client.post(url, {"act": "as_is", "pieces": [one.code]}, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "not_an_old_piece")
    assert client.post(url, {"act": "scrapped"}, format="json").status_code == 400
    assert client.post(url, {"act": "as_is"}, format="json").json() == []
    assert Piece.objects.filter(revision__is_current=True).count() == 2
    assert Work.objects.get().kind == "recontour"
