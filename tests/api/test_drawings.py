"""``drawings/``: numbers with revisions."""

from __future__ import annotations

import pytest

from tests.world import MM
from tooling.models import Drawing, DrawingRevision

pytestmark = pytest.mark.django_db


@pytest.fixture
def drawing(world):
    return world.drawing("R-100/2", bore_nm=60 * MM, drive_diameter_nm=150 * MM)


def test_a_drawing_is_told_with_its_revisions(drawing, api_as, viewer) -> None:
    told = api_as(viewer).get("/api/v1/drawings/R-100/2/").json()
    assert (told["number"], told["kind"]) == ("R-100/2", "roll")
    revision = told["revisions"][0]
    assert (revision["revision"], revision["is_current"], revision["bore_mm"]) == ("A", True, "60")


def test_the_list_begins_as_asked(world, drawing, api_as, viewer) -> None:
    world.drawing("S-1", kind="spacer")
    client = api_as(viewer)
    for query in ("q=r-1", "kind=roll"):
        rows = client.get(f"/api/v1/drawings/?{query}").json()["results"]
        assert [row["number"] for row in rows] == ["R-100/2"], query


def test_a_drawing_is_made_with_its_first_revision(world, api_as, engineer) -> None:
    answer = api_as(engineer).post(
        "/api/v1/drawings/",
        {"number": "R-7", "kind": "roll", "unit": "in", "bore_in": "2.5",
         "drive_diameter_in": "6.000", "least_drive_diameter_in": "5.700"},
        format="json",
    )  # fmt: skip
    assert answer.status_code == 201
    revision = answer.json()["revisions"][0]
    # 2.5 in = 63.5 mm, 5.7 in = 144.78 mm
    assert (revision["revision"], revision["bore_mm"]) == ("A", "63.5")
    assert revision["least_drive_diameter_mm"] == "144.78"


def test_a_further_revision_becomes_the_current_one(drawing, api_as, engineer) -> None:
    answer = api_as(engineer).post(
        "/api/v1/drawings/R-100/2/revisions/",
        {"revision": "B", "old_pieces": "rework", "bore_mm": "60"},
        format="json",
    )
    assert answer.status_code == 201
    assert [(row["revision"], row["is_current"]) for row in answer.json()["revisions"]] == [
        ("B", True),
        ("A", False),
    ]


def test_a_revision_is_put_right(drawing, api_as, engineer) -> None:
    answer = api_as(engineer).patch(
        "/api/v1/drawings/R-100/2/revisions/A/", {"face_width_mm": "40"}, format="json"
    )
    assert answer.json()["revisions"][0]["face_width_mm"] == "40"


def test_the_title_changes(drawing, api_as, engineer) -> None:
    answer = api_as(engineer).patch(
        "/api/v1/drawings/R-100/2/", {"title": "Fin pass"}, format="json"
    )
    assert answer.json()["title"] == "Fin pass"


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"number": "r-100/2"}, "already_there"),
        ({"kind": "wheel"}, "invalid"),
        ({"bore_mm": "200", "drive_diameter_mm": "150"}, "bore_too_large"),
        ({"bore_mm": "-1"}, "negative_length"),
        ({"bore_mm": "0"}, "improbable_value"),
        ({"bore_mm": "1,250"}, "ambiguous_length"),
        ({"drive_diameter_mm": "150", "least_drive_diameter_mm": "160"}, "least_above_drawn"),
        ({"plated_thickness_mm": "-0.02"}, "negative_length"),
        ({"case_depth_mm": "-1"}, "negative_length"),
        ({"new_cost_cents": -1}, "invalid"),
        ({"issued_on": "soon"}, "invalid"),
        ({"mass_g": -5}, "invalid"),
    ],
)
def test_a_bad_drawing_is_refused_whole(drawing, api_as, engineer, sent, code) -> None:
    answer = api_as(engineer).post(
        "/api/v1/drawings/", {"number": "R-8", "kind": "roll", **sent}, format="json"
    )
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert (Drawing.objects.count(), DrawingRevision.objects.count()) == (1, 1)


def test_unknown_numbers_and_revisions_are_said(drawing, api_as, engineer) -> None:
    client = api_as(engineer)
    assert client.get("/api/v1/drawings/R-9/").json()["code"] == "unknown_drawing"
    answer = client.patch("/api/v1/drawings/R-100/2/revisions/Z/", {}, format="json")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_revision")


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_who_may_not_draw(drawing, api_as, cast, role) -> None:
    client = api_as(cast[role])
    made = client.post("/api/v1/drawings/", {"number": "X", "kind": "roll"}, format="json")
    edited = client.patch("/api/v1/drawings/R-100/2/", {"title": "X"}, format="json")
    assert (made.status_code, edited.status_code) == (403, 403)


def test_case_depth_and_cost_of_a_new_one_are_kept(drawing, api_as, engineer) -> None:
    api = api_as(engineer)
    sent = {"number": "R-9", "kind": "roll", "case_depth_mm": "4.5", "new_cost_cents": 184_000}
    assert api.post("/api/v1/drawings/", sent, format="json").status_code == 201
    told = api.get("/api/v1/drawings/R-9/").json()["revisions"][0]
    assert (told["case_depth_mm"], told["new_cost_cents"]) == ("4.5", 184_000)
