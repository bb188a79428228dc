"""``pieces/``: the list, one piece, making and editing, and what is written down about one."""

from __future__ import annotations

import pytest

from tests.world import MM
from tooling.models import Change, Movement, Piece, Reading

pytestmark = pytest.mark.django_db
IN = 25_400_000


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def drawing(world):
    return world.drawing("R-100", bore_nm=60 * MM, face_width_nm=40 * MM,
                         drive_diameter_nm=150 * MM, outside_diameter_nm=180 * MM)  # fmt: skip


@pytest.fixture
def piece(world, drawing, rack):
    return world.piece(drawing, rack, mark="12-T", copy_letter="A")


def body(drawing, rack, **more):
    return {"drawing": drawing.number, "place": rack.code, **more}


def test_a_piece_is_told_by_codes_and_exact_lengths(piece, rack, api_as, viewer) -> None:
    answer = api_as(viewer).get(f"/api/v1/pieces/{piece.code}/")
    assert answer.status_code == 200
    told = answer.json()
    expected = {
        "code": piece.code,
        "mark": "12-T",
        "drawing": "R-100",
        "revision": "A",
        "kind": "roll",
        "owner": "SHOP",
        "place": rack.code,
        "place_name": "Rack A",
        "state": "here",
        "condition": "sound",
        "bore_mm": "60",
        "face_width_mm": "40",
        "keyway_width_mm": None,
        "length_run_m": "0",
    }
    assert {name: told[name] for name in expected} == expected


def test_an_inch_bore_comes_out_exact_in_mm(world, rack, api_as, viewer) -> None:
    # 2.5 in × 25.4 mm/in = 63.5 mm exactly
    drawing = world.drawing("R-101", bore_nm=5 * IN // 2, unit="in")
    piece = world.piece(drawing, rack, unit="in")
    told = api_as(viewer).get(f"/api/v1/pieces/{piece.code}/").json()
    assert (told["bore_mm"], told["unit"]) == ("63.5", "in")


def test_what_was_measured_goes_before_what_is_drawn(piece, api_as, viewer) -> None:
    Piece.objects.filter(pk=piece.pk).update(now_bore_nm=60_012_345)
    told = api_as(viewer).get(f"/api/v1/pieces/{piece.code}/").json()
    assert told["bore_mm"] == "60.012345"
    bore = next(size for size in told["sizes"] if size["dimension"] == "bore")
    assert bore == {"dimension": "bore", "drawn_mm": "60", "made_mm": None,
                    "now_mm": "60.012345", "least_mm": None}  # fmt: skip


def test_a_code_is_folded_as_it_is_typed(piece, api_as, viewer) -> None:
    typed = f"{piece.code[:4]}-{piece.code[4:]}".lower()
    assert api_as(viewer).get(f"/api/v1/pieces/{typed}/").json()["code"] == piece.code


def test_the_list_is_found_and_narrowed(world, piece, drawing, rack, api_as, viewer) -> None:
    other = world.piece(world.drawing("S-1", kind="spacer"), rack, mark="SP", seen=False)
    client = api_as(viewer)
    assert {row["code"] for row in client.get("/api/v1/pieces/").json()["results"]} == {
        piece.code,
        other.code,
    }
    for query in ("q=12-T", f"q={piece.code}", "kind=roll", "q=R-100"):
        found = client.get(f"/api/v1/pieces/?{query}").json()
        assert [row["code"] for row in found["results"]] == [piece.code], query
    unseen = client.get("/api/v1/pieces/?unseen=true").json()["results"]
    assert [(row["code"], row["is_seen"]) for row in unseen] == [(other.code, False)]


def test_the_list_is_narrowed_to_a_drawing_and_to_a_set(world, rack, api_as, viewer) -> None:
    long, short = world.drawing("R-10"), world.drawing("R-1")
    drawings = {(1, "top", 1): long, (1, "bottom", 1): short}
    pieces = {spot: world.piece(drawing, rack) for spot, drawing in drawings.items()}
    spare = world.piece(short, rack, mark="spare")
    world.copy(world.tool_set("T-1", drawings), "A", pieces)
    world.tool_set("T-10", drawings)
    top, bottom = pieces[1, "top", 1].code, pieces[1, "bottom", 1].code
    client = api_as(viewer)
    for query, codes in {
        "drawing=r-1": {bottom, spare.code},
        "drawing=R-10": {top},
        "drawing=R-": set(),
        "set=t-1": {top, bottom},
        "set=T-10": set(),
        "set=T-1&drawing=R-1": {bottom},
        "q=spare&drawing=R-1": {spare.code},
        "q=spare&set=T-1": set(),
        "set=&drawing=": {top, bottom, spare.code},
    }.items():
        found = client.get(f"/api/v1/pieces/?{query}").json()["results"]
        assert {row["code"] for row in found} == codes, query


def test_the_next_page_begins_after_the_last(world, drawing, rack, api_as, viewer) -> None:
    codes = sorted(world.piece(drawing, rack).code for _n in range(53))
    client = api_as(viewer)
    first = client.get("/api/v1/pieces/").json()
    second = client.get(first["next"]).json()
    assert [row["code"] for row in first["results"] + second["results"]] == codes
    assert second["next"] is None


@pytest.mark.parametrize("rows", [1, 50])
def test_a_page_takes_as_many_queries_whatever_it_holds(
    world, drawing, rack, api_as, viewer, django_assert_num_queries, rows
) -> None:
    for _n in range(rows):
        world.piece(drawing, rack)
    client = api_as(viewer)
    with django_assert_num_queries(
        7
    ):  # token, roles; page; rows, special places, staged, old numbers
        client.get("/api/v1/pieces/")


def test_pieces_are_made_with_codes_and_a_first_movement(drawing, rack, api_as, engineer) -> None:
    answer = api_as(engineer).post(
        "/api/v1/pieces/", body(drawing, rack, count=2, mark="12-T", bore_in="2.362"), format="json"
    )
    assert answer.status_code == 201
    made = answer.json()
    assert len(made) == 2
    # 2.362 in × 25.4 = 59.9948 mm
    assert {(row["bore_mm"], row["place"], row["owner"]) for row in made} == {
        ("59.9948", rack.code, "SHOP")
    }
    assert Movement.objects.filter(piece__code__in=[row["code"] for row in made]).count() == 2


def test_an_edit_changes_what_it_names_and_nothing_else(piece, api_as, engineer) -> None:
    answer = api_as(engineer).patch(
        f"/api/v1/pieces/{piece.code}/", {"mark": "12-TX", "face_width_mm": "39.95"}, format="json"
    )
    told = answer.json()
    assert (told["mark"], told["face_width_mm"], told["copy_letter"]) == ("12-TX", "39.95", "A")
    change = Change.objects.get(subject="Piece", subject_key=piece.code)
    assert (change.by, change.after) == (
        engineer,
        {"mark": "12-TX", "made_face_width_nm": 39_950_000},
    )


def test_null_takes_a_size_away(piece, api_as, engineer) -> None:
    Piece.objects.filter(pk=piece.pk).update(made_bore_nm=61 * MM)
    told = api_as(engineer).patch(
        f"/api/v1/pieces/{piece.code}/", {"bore_mm": None}, format="json"
    ).json()  # fmt: skip
    assert told["bore_mm"] == "60"


def test_a_hold_is_laid_and_lifted(piece, api_as, crew, engineer) -> None:
    address = f"/api/v1/pieces/{piece.code}"
    held = api_as(crew).post(f"{address}/hold/", {"reason": "chip at the rim"}, format="json")
    assert (held.json()["state"], held.json()["hold_reason"]) == ("held", "chip at the rim")
    lifted = api_as(engineer).post(
        f"{address}/lift/", {"condition": "clean", "reason": "dressed"}, format="json"
    )
    assert (lifted.json()["state"], lifted.json()["condition"]) == ("here", "clean")


def test_an_old_number_finds_the_piece(piece, api_as, engineer) -> None:
    client = api_as(engineer)
    answer = client.post(f"/api/v1/pieces/{piece.code}/aliases/", {"text": "OLD-77"}, format="json")
    assert (answer.status_code, answer.json()["aliases"]) == (201, ["OLD-77"])
    found = client.get("/api/v1/pieces/?q=old-77").json()["results"]
    assert [row["code"] for row in found] == [piece.code]


def test_a_reading_becomes_the_present_size(piece, api_as, attendant) -> None:
    client = api_as(attendant)
    answer = client.post(
        f"/api/v1/pieces/{piece.code}/readings/",
        {"dimension": "drive_diameter", "value_mm": "149.92"},
        format="json",
    )
    assert (answer.status_code, answer.json()["value_mm"]) == (201, "149.92")
    told = client.get(f"/api/v1/pieces/{piece.code}/").json()
    assert told["drive_diameter_mm"] == "149.92"


def test_a_wrong_reading_is_put_right_by_naming_it(piece, api_as, attendant) -> None:
    client, address = api_as(attendant), f"/api/v1/pieces/{piece.code}/readings/"
    wrong = client.post(
        address, {"dimension": "face_width", "value_mm": "39.8"}, format="json"
    ).json()
    right = {"dimension": "face_width", "value_mm": "39.98", "corrects": wrong["id"]}
    assert client.post(address, right, format="json").json()["corrects"] == wrong["id"]
    assert client.get(f"/api/v1/pieces/{piece.code}/").json()["face_width_mm"] == "39.98"
    again = client.post(address, right, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "already_corrected")


def test_past_work_says_what_it_took_off(piece, api_as, engineer) -> None:
    answer = api_as(engineer).post(
        f"/api/v1/pieces/{piece.code}/work/",
        {
            "kind": "regrind",
            "done_on": "2026-01-15",
            "done_by": "the grinder",
            "drive_diameter_before_mm": "150",
            "drive_diameter_after_mm": "149.25",
        },
        format="json",
    )
    assert answer.status_code == 201
    assert answer.json()["sizes"] == [
        {"dimension": "drive_diameter", "before_mm": "150", "after_mm": "149.25"}
    ]


def test_strip_length_adds_up_in_either_unit(piece, api_as, crew) -> None:
    client, address = api_as(crew), f"/api/v1/pieces/{piece.code}/lengths/"
    assert client.post(address, {"length_m": "1000"}, format="json").status_code == 201
    client.post(address, {"length_ft": "1000"}, format="json")
    # 1000 m + 1000 ft × 0.3048 m/ft = 1304.8 m
    told = client.get(f"/api/v1/pieces/{piece.code}/").json()
    assert told["length_run_m"] == "1304.8"


@pytest.mark.parametrize(
    ("kind", "state"),
    [
        ("grinder", "out"),
        ("customer", "out"),
        ("person", "out"),
        ("lost", "lost"),
        ("scrap", "scrapped"),
        ("station", "mounted"),
        ("unknown", "not_placed"),
        ("bin", "here"),
    ],
)
def test_the_state_follows_the_place(world, drawing, api_as, viewer, kind, state) -> None:
    box = world.place("Box", kind="bin", parent=world.place("There", kind=kind))
    piece = world.piece(drawing, box)
    assert api_as(viewer).get(f"/api/v1/pieces/{piece.code}/").json()["state"] == state


@pytest.mark.parametrize(
    ("method", "path", "sent"),
    [
        ("post", "", {}),
        ("patch", "{code}/", {"mark": "X"}),
        ("post", "{code}/hold/", {"reason": "x"}),
        ("post", "{code}/lift/", {}),
        ("post", "{code}/aliases/", {"text": "X"}),
        ("post", "{code}/readings/", {}),
        ("post", "{code}/work/", {}),
        ("post", "{code}/lengths/", {}),
    ],
)
def test_a_viewer_changes_nothing(piece, api_as, viewer, method, path, sent) -> None:
    address = "/api/v1/pieces/" + path.format(code=piece.code)
    answer = getattr(api_as(viewer), method)(address, sent, format="json")
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")
    assert not Reading.objects.exists()


def test_without_a_login_nothing_is_told(piece, client) -> None:
    answer = client.get(f"/api/v1/pieces/{piece.code}/")
    assert (answer.status_code, answer.json()["code"]) == (401, "not_logged_in")


def test_an_unknown_code_is_said(world, piece, api_as, viewer) -> None:
    unused = world.code("R")
    answer = api_as(viewer).get(f"/api/v1/pieces/{unused}/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_code")
    assert unused in answer.json()["message"]


def test_a_bad_check_character_is_said(piece, api_as, viewer) -> None:
    bad = piece.code[:-1] + ("0" if piece.code[-1] != "0" else "1")
    answer = api_as(viewer).get(f"/api/v1/pieces/{bad}/")
    assert (answer.status_code, answer.json()["code"]) == (400, "bad_check_character")


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"bore_mm": "-60"}, "negative_length"),
        ({"bore_mm": "200000"}, "absurd_length"),
        ({"bore_mm": "1,500"}, "ambiguous_length"),
        ({"bore_mm": "60", "bore_in": "2.362"}, "ambiguous_length"),
        ({"bore_mm": "2.4 in"}, "ambiguous_length"),
        ({"bore_mm": "0.060"}, "improbable_value"),
        ({"bore_mm": "wide"}, "not_a_length"),
        ({"bore_mm": "60.0000001"}, "too_fine_length"),
        ({"bore_mm": "200 mm"}, "bore_too_large"),
        ({"owner": "NOBODY"}, "unknown_owner"),
        ({"revision": "Z"}, "unknown_revision"),
        ({"condition": "hold"}, "invalid"),
        ({"bore": "60"}, "invalid"),
        ({"place": "P000"}, "invalid"),
        ({"mark": "x" * 41}, "invalid"),
        ([], "invalid"),
    ],
)
def test_a_bad_edit_is_refused_and_nothing_is_saved(piece, api_as, engineer, sent, code) -> None:
    answer = api_as(engineer).patch(f"/api/v1/pieces/{piece.code}/", sent, format="json")
    assert answer.status_code in (400, 404)
    assert set(answer.json()) == {"code", "message", "detail"}
    assert answer.json()["code"] == code
    assert not Change.objects.filter(subject="Piece").exists()


def test_an_improbable_size_with_its_unit_is_taken(world, piece, api_as, engineer) -> None:
    answer = api_as(engineer).patch(
        f"/api/v1/pieces/{piece.code}/", {"keyway_width_mm": "1.5 mm"}, format="json"
    )
    assert (answer.status_code, answer.json()["keyway_width_mm"]) == (200, "1.5")


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"count": 0}, "invalid"),
        ({"count": 100_000}, "invalid"),
        ({"place": "nowhere"}, "unknown_code"),
        ({"drawing": "NONE"}, "unknown_drawing"),
        ({"hardness_hrc": "hard"}, "invalid"),
    ],
)
def test_bad_new_pieces_are_refused_whole(drawing, rack, api_as, engineer, sent, code) -> None:
    whole = {**body(drawing, rack), "count": 3, **sent}
    answer = api_as(engineer).post("/api/v1/pieces/", whole, format="json")
    assert answer.json()["code"] == code
    assert not Piece.objects.exists()


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"value_mm": "100"}, "improbable_value"),
        ({"value_mm": "0"}, "not_positive"),
        ({"value_mm": "5.9"}, "wrong_unit"),
        ({"value_mm": "149.9", "value_in": "5.9"}, "ambiguous_length"),
        ({}, "invalid"),
        ({"value_mm": "149.9", "gauge": "G-1"}, "unknown_gauge_number"),
        ({"value_mm": "149.9", "happened_at": "2999-01-01T00:00:00Z"}, "in_the_future"),
        ({"value_mm": "149.9", "corrects": 999}, "unknown_entry"),
        ({"value_mm": "149.9", "dimension": "hight"}, "invalid"),
    ],
)
def test_a_bad_reading_is_refused(piece, api_as, attendant, sent, code) -> None:
    answer = api_as(attendant).post(
        f"/api/v1/pieces/{piece.code}/readings/",
        {"dimension": "drive_diameter", **sent},
        format="json",
    )
    assert answer.json()["code"] == code
    assert not Reading.objects.exists()


def test_an_improbable_reading_is_taken_by_who_is_sure(piece, api_as, attendant) -> None:
    answer = api_as(attendant).post(
        f"/api/v1/pieces/{piece.code}/readings/",
        {"dimension": "drive_diameter", "value_mm": "100", "sure": True},
        format="json",
    )
    assert answer.status_code == 201
