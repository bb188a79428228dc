"""Forms of records: what is right is saved and said; what is not stays typed, with a sentence."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from tests.world import MM, World
from tooling.models import (
    Allotment,
    DrawingRevision,
    LengthEntry,
    Mill,
    MillShaft,
    Owner,
    Person,
    Piece,
    Place,
    Reading,
    SetPosition,
    Setting,
    SetupChart,
    StockLine,
    ToolSet,
    Work,
)

IN = 25_400_000
LogIn = Callable[[Person], Client]


@pytest.fixture
def browser(engineer: Person, log_in: LogIn, world: World) -> Client:
    return log_in(engineer)


@pytest.fixture
def boss(supervisor: Person, log_in: LogIn, world: World) -> Client:
    return log_in(supervisor)


def problems(page: bytes) -> list[str]:
    """The codes of the problems that a page shows."""
    return re.findall(r'class="problem[^"]*" data-code="([^"]+)"', page.decode())


DRAWING = {
    "number": "1472-01-T1",
    "kind": "roll",
    "revision": "A",
    "unit": "in",
    "bore_nm": "2 1/2",
    "keyway_width_nm": ".625",
    "keyway_depth_nm": "0.278",
    "face_width_nm": "3.5",
    "root_diameter_nm": "5.500",
    "drive_diameter_nm": "6.000",
    "outside_diameter_nm": "177.8 mm",
}


def test_a_drawing_typed_in_inches_is_kept_to_the_nanometre(browser: Client) -> None:
    answer = browser.post("/sets/drawings/new/", DRAWING)
    assert answer.headers["Location"] == "/sets/drawings/1472-01-T1/"
    row = DrawingRevision.objects.get()
    assert (row.unit, row.bore_nm, row.keyway_width_nm, row.outside_diameter_nm) == (
        "in",
        63_500_000,
        15_875_000,
        7 * IN,
    )
    page = browser.get("/sets/drawings/1472-01-T1/").content.decode()
    assert "2.500 in" in page


@pytest.mark.parametrize(
    ("name", "typed", "code"),
    [
        ("bore_nm", "-2.5", "negative_length"),
        ("bore_nm", "600", "improbable_value"),
        ("bore_nm", "63.5", "improbable_value"),
        ("bore_nm", "1,234", "ambiguous_length"),
        ("bore_nm", "wide", "not_a_length"),
        ("face_width_nm", "999999 m", "absurd_length"),
        ("root_diameter_nm", "8", "root_above_outside"),
        ("outside_diameter_nm", "2.4", "bore_too_large"),
        ("number", "", "required"),
        ("kind", "castle", "invalid_choice"),
    ],
)
def test_a_bad_size_is_said_at_its_field_and_nothing_typed_is_lost(
    name: str, typed: str, code: str, browser: Client
) -> None:
    answer = browser.post("/sets/drawings/new/", {**DRAWING, "title": "kept", name: typed})
    page = answer.content
    assert answer.status_code == 400
    assert code in problems(page)
    assert b'value="kept"' in page
    assert b'value="2 1/2"' in page or name == "bore_nm"
    assert not DrawingRevision.objects.exists()


def test_a_thin_wall_asks_for_a_reason_and_takes_it(browser: Client) -> None:
    thin = {**DRAWING, "root_diameter_nm": "3.6"}
    first = browser.post("/sets/drawings/new/", thin)
    assert problems(first.content) == ["thin_wall"]
    assert b'<input type="text" name="reason"' in first.content
    second = browser.post("/sets/drawings/new/", {**thin, "reason": "old pattern"})
    assert second.status_code == 302


def test_a_length_shown_rounded_and_not_touched_keeps_its_exact_value(
    browser: Client, engineer: Person, world: World
) -> None:
    engineer.length_unit = "in"
    engineer.save(update_fields=["length_unit"])
    mill = world.mill(guide_plane_nm=125 * MM)
    page = browser.get("/mills/M1/edit/")
    form = page.context["form"]
    data = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert data["guide_plane_nm"] == "4.9213"
    answer = browser.post("/mills/M1/edit/", {**data, "name": "Renamed", "is_active": "on"})
    mill.refresh_from_db()
    assert (answer.status_code, mill.name, mill.guide_plane_nm) == (302, "Renamed", 125 * MM)


def test_a_mill_is_entered_and_one_shaft_put_right(browser: Client) -> None:
    mill = {
        "number": "M2",
        "name": "Mill 2",
        "unit": "mm",
        "stations": "24",
        "datum": "centreline",
        "hand": "right",
        "operator_side": "left",
        "closing": "housing",
        "closing_least_nm": "-0.2",
        "closing_most_nm": "0",
        "diameter_nm": "70",
        "roll_space_nm": "320",
        "key_width_nm": "20",
        "shoulder_offset_nm": "-160",
    }
    assert browser.post("/mills/new/", mill).headers["Location"] == "/mills/M2/"
    row = Mill.objects.get()
    assert (row.closing_least_nm, row.stations.count()) == (-200_000, 24)
    shaft = MillShaft.objects.get(station__number=3, which="top")
    where = f"/mills/M2/stations/3/{shaft.pk}/"
    fields = {
        "diameter_nm": "70",
        "roll_space_nm": "318.5",
        "key_style": "full",
        "shoulder_offset_nm": "-160.05",
        "drive": "driven",
    }
    assert browser.post(where, fields).status_code == 302
    shaft.refresh_from_db()
    assert (shaft.roll_space_nm, shaft.shoulder_offset_nm) == (318_500_000, -160_050_000)
    refused = browser.post(where, {**fields, "diameter_nm": "0"})
    assert problems(refused.content) == ["improbable_value"]


def test_pegs_are_made_in_one_go_and_a_place_is_not_put_into_itself(
    attendant: Person, log_in: LogIn, world: World
) -> None:
    browser = log_in(attendant)
    rack = world.place("Rack A")
    made = browser.post(
        "/shop/places/new/",
        {
            "name": "Peg 01",
            "count": "24",
            "kind": "peg",
            "parent": "rack a",
            "walking_order": "100",
        },
    )
    assert made.headers["Location"] == f"/shop/places/{rack.code}/"
    peg = Place.objects.get(name="Peg 24")
    assert peg.walking_order == 123
    answer = browser.post(
        f"/shop/places/{rack.code}/edit/",
        {"name": "Rack A", "kind": "rack", "parent": peg.code, "is_active": "on"},
    )
    assert problems(answer.content) == ["place_inside_itself"]


def test_a_name_that_several_places_have_is_asked_about(browser: Client, world: World) -> None:
    for rack in ("Rack A", "Rack B"):
        world.place("Shelf 1", kind="shelf", parent=world.place(rack))
    fields = {"name": "Bin 1", "count": "1", "kind": "bin"}
    answer = browser.post("/shop/places/new/", {**fields, "parent": "Shelf 1"})
    assert problems(answer.content) == ["ambiguous_place"]
    assert "Rack A / Shelf 1; Rack B / Shelf 1" in answer.content.decode()
    assert browser.post("/shop/places/new/", {**fields, "parent": "Rack B / Shelf 1"}).url


def test_pieces_are_made_from_their_drawing(browser: Client, world: World) -> None:
    drawing, rack = world.drawing("1472-01-T1", bore_nm=60 * MM), world.place("Rack A")
    fields = {
        "drawing": "1472-01-t1",
        "place": rack.code,
        "count": "3",
        "mark": "1472-01-T1",
        "mark_place": "rim",
        "owner": world.shop.pk,
        "condition": "sound",
        "seen": "on",
    }
    answer = browser.post("/pieces/new/", fields)
    assert answer.headers["Location"] == "/pieces/?q=1472-01-T1"
    assert Piece.objects.filter(drawing=drawing, place=rack, mark_place="rim").count() == 3
    for name, value, code in (
        ("drawing", "none", "unknown_drawing"),
        ("place", "nowhere", "unknown_place"),
        ("count", "0", "min_value"),
        ("made_bore_nm", "-1", "negative_length"),
    ):
        assert problems(browser.post("/pieces/new/", {**fields, name: value}).content) == [code]
    assert Piece.objects.count() == 3


@pytest.fixture
def piece(world: World) -> Piece:
    drawing = world.drawing(
        "1472-01-T1", bore_nm=60 * MM, root_diameter_nm=140 * MM, outside_diameter_nm=150 * MM
    )
    return world.piece(drawing, world.place("Rack A"), mark="1472-01-T1")


def test_an_edit_of_a_piece_keeps_what_was_not_touched(browser: Client, piece: Piece) -> None:
    page = browser.get(f"/pieces/{piece.code}/edit/")
    form = page.context["form"]
    data = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    data = {name: value for name, value in data.items() if value is not False}
    data |= {"note": "was in the flood", "owner": piece.owner_id, "revision": piece.revision_id}
    assert browser.post(f"/pieces/{piece.code}/edit/", data).status_code == 302
    fresh = Piece.objects.get()
    assert (fresh.note, fresh.mark, fresh.condition) == (
        "was in the flood",
        "1472-01-T1",
        piece.condition,
    )


def test_a_reading_far_off_is_asked_about_and_taken_when_sure(
    crew: Person, log_in: LogIn, piece: Piece
) -> None:
    browser = log_in(crew)
    where = f"/pieces/{piece.code}/reading/"
    far = {"dimension": "root_diameter", "value": "133.8 mm"}
    asked = browser.post(where, far)
    assert problems(asked.content) == ["improbable_value"]
    assert b'type="checkbox" name="sure"' in asked.content
    assert browser.post(where, {**far, "sure": "on"}).status_code == 302
    assert Reading.objects.get().as_written == "133.8 mm"
    assert browser.get(f"/pieces/{piece.code}/").content.count(b"133.8 mm") == 2


def test_a_reading_is_corrected_by_a_further_one(crew: Person, log_in: LogIn, piece: Piece) -> None:
    browser = log_in(crew)
    where = f"/pieces/{piece.code}/reading/"
    browser.post(where, {"dimension": "root_diameter", "value": "139.0"})
    wrong = Reading.objects.get()
    browser.post(f"{where}?corrects={wrong.pk}", {"dimension": "root_diameter", "value": "139.9"})
    page = browser.get(f"/pieces/{piece.code}/").content.decode()
    assert page.count('class="undone"') == 1
    assert Piece.objects.get().now_root_diameter_nm == 139_900_000


def test_a_correction_of_another_pieces_entry_is_not_found(
    crew: Person, log_in: LogIn, piece: Piece, world: World, at: datetime
) -> None:
    other = world.piece(piece.drawing, piece.place)
    reading = Reading.objects.create(
        piece=other, dimension="bore", value_nm=1, unit="mm", happened_at=at, received_at=at
    )
    answer = log_in(crew).get(f"/pieces/{piece.code}/reading/?corrects={reading.pk}")
    assert answer.status_code == 404


def test_a_past_regrind_and_a_length_run_are_written_down(browser: Client, piece: Piece) -> None:
    cut = {
        "kind": "regrind",
        "done_on": "2026-03-14",
        "done_by": "Haldane Grinding",
        "root_diameter_before": "140",
        "root_diameter_after": "139.25",
    }
    assert browser.post(f"/pieces/{piece.code}/work/", cut).status_code == 302
    assert Work.objects.get().measures.get().after_nm == 139_250_000
    run = {"length": "12 km", "strip_class": "galvanised"}
    assert browser.post(f"/pieces/{piece.code}/length/", run).status_code == 302
    assert LengthEntry.objects.get().length_nm == 12 * 10**12
    worse = browser.post(f"/pieces/{piece.code}/work/", {**cut, "root_diameter_after": "141"})
    assert problems(worse.content) == ["cut_made_larger"]
    tomorrow = browser.post(f"/pieces/{piece.code}/work/", {**cut, "done_on": "2099-01-01"})
    assert problems(tomorrow.content) == ["in_the_future"]
    for typed, code in (
        ("-5 m", "negative_length"),
        ("0", "absurd_length"),
        ("far", "not_a_length"),
    ):
        answer = browser.post(f"/pieces/{piece.code}/length/", {"length": typed})
        assert problems(answer.content) == [code]


def test_a_damaged_piece_is_held_at_once_by_crew(crew: Person, log_in: LogIn, piece: Piece) -> None:
    browser = log_in(crew)
    nothing = browser.post(f"/pieces/{piece.code}/stop/", {"note": "chip"})
    assert problems(nothing.content) == ["unknown_stop"]
    browser.post(f"/pieces/{piece.code}/stop/", {"what": "in_doubt", "note": "chip"})
    assert "piece_held" in problems(browser.get(f"/pieces/{piece.code}/").content)
    assert browser.post(f"/pieces/{piece.code}/lift/", {"condition": "sound"}).status_code == 403


def test_an_old_number_is_added_and_taken_away(browser: Client, piece: Piece) -> None:
    browser.post(f"/pieces/{piece.code}/aliases/", {"text": "R-0417"})
    assert browser.get("/pieces/?q=r-0417").headers["Location"] == f"/pieces/{piece.code}/"
    alias = piece.aliases.get()
    browser.post(f"/pieces/{piece.code}/aliases/{alias.pk}/remove/")
    assert not piece.aliases.exists()


def test_a_set_is_entered_from_nothing_to_a_chart(
    browser: Client, piece: Piece, world: World
) -> None:
    world.mill("M1", stations=4)
    browser.post(
        "/sets/new/",
        {"number": "1472", "name": "C 100", "unit": "mm", "passes": "1", "revision": "A"},
    )
    position = {
        "set_pass": "1",
        "shaft": "top",
        "order": "1",
        "drawing": "1472-01-T1",
        "mark_faces": "outboard",
    }
    assert browser.post("/sets/1472/position/", position).status_code == 302
    browser.post("/sets/1472/copies/", {"letter": "A"})
    copy = ToolSet.objects.get().copies.get()
    browser.post(f"/sets/1472/copies/{copy.pk}/fill/")
    assert Allotment.objects.get().piece == piece
    answer = browser.post(
        "/sets/1472/charts/", {"mill": Mill.objects.get().pk, "first_station": "2"}
    )
    chart = SetupChart.objects.get()
    assert answer.headers["Location"] == f"/sets/charts/{chart.pk}/"
    set_pass = ToolSet.objects.get().passes.get()
    where = f"/sets/charts/{chart.pk}/passes/{set_pass.pk}/"
    browser.post(where, {"station": "4", "gap_nm": "1.25"})
    assert chart.chart_passes.get().gap_nm == 1_250_000
    browser.post(f"{where}off/")
    assert not chart.chart_passes.exists()


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"drawing": "none"}, "unknown_drawing"),
        ({"order": "0"}, "min_value"),
        ({"order": "x"}, "invalid"),
        ({"set_pass": "9"}, "invalid_choice"),
        ({"shaft": "middle"}, "invalid_choice"),
    ],
)
def test_a_position_that_makes_no_sense_is_refused_in_place(
    changed: dict[str, str], code: str, browser: Client, world: World
) -> None:
    world.tool_set("1472", {(1, "top", 1): world.drawing("D")})
    position = {
        "set_pass": "1",
        "shaft": "top",
        "order": "2",
        "drawing": "D",
        "mark_faces": "outboard",
        **changed,
    }
    answer = browser.post("/sets/1472/position/", position)
    assert problems(answer.content) == [code]
    assert SetPosition.objects.count() == 1


def test_a_bin_is_made_counted_and_moved(attendant: Person, log_in: LogIn, world: World) -> None:
    browser = log_in(attendant)
    world.drawing("SP 70 x 25", kind="spacer", bore_nm=70 * MM, face_width_nm=25 * MM)
    world.place("Drawer 1"), world.place("Drawer 2")
    made = browser.post(
        "/pieces/stock/new/",
        {
            "drawing": "sp 70 x 25",
            "place": "Drawer 1",
            "owner": world.shop.pk,
            "condition": "sound",
            "count": "12",
        },
    )
    line = StockLine.objects.get()
    assert (made.headers["Location"], line.count) == (f"/pieces/stock/{line.code}/", 12)
    change = f"/pieces/stock/{line.code}/change/"
    browser.post(change, {"verb": "count", "quantity": "10"})
    browser.post(change, {"verb": "move", "quantity": "4", "to": "Drawer 2"})
    counts = dict(StockLine.objects.values_list("place__name", "count"))
    assert counts == {"Drawer 1": 6, "Drawer 2": 4}
    short = browser.post(change, {"verb": "use_up", "quantity": "7"})
    assert problems(short.content) == ["stock_short"]
    nowhere = browser.post(change, {"verb": "move", "quantity": "1"})
    assert problems(nowhere.content) == ["required"]
    negative = browser.post(change, {"verb": "receive", "quantity": "-1"})
    assert problems(negative.content) == ["min_value"]


def test_a_supervisor_runs_the_shop(boss: Client, world: World) -> None:
    boss.post("/shop/owners/new/", {"code": "quil", "name": "Quillmoor Racking"})
    assert Owner.objects.get(code="QUIL").name == "Quillmoor Racking"
    twice = boss.post("/shop/owners/new/", {"code": "QUIL", "name": "X"})
    assert problems(twice.content) == ["already_there"]
    person = {"name": "Rosa", "username": "rosa", "password": "drill-bush-41", "roles": ["crew"]}
    boss.post("/shop/people/new/", person)
    assert Person.objects.get(username="rosa").role_set == {"crew"}
    weak = boss.post("/shop/people/new/", {**person, "username": "rob", "password": "short"})
    assert problems(weak.content) == ["weak_password"]
    assert b"short" not in weak.content.split(b"<main", 1)[1].split(b"too short")[0]
    boss.post("/shop/settings/lift_warn/", {"value": "12"})
    boss.post("/shop/settings/wall_at_key_corner_warn/", {"value": "1/4 in"})
    assert dict(Setting.objects.values_list("name", "value")) == {
        "lift_warn": 12,
        "wall_at_key_corner_warn": 6_350_000,
    }
    wrong = boss.post("/shop/settings/lift_warn/", {"value": "-1"})
    assert problems(wrong.content) == ["setting_out_of_range"]
    boss.post("/shop/settings/lift_warn/reset/")
    assert Setting.objects.count() == 1
    boss.post(
        "/shop/edit/",
        {
            "name": "North shop",
            "time_zone": "Europe/Madrid",
            "length_unit": "in",
            "strip_unit": "ft",
        },
    )
    assert "North shop" in boss.get("/shop/").content.decode()


def test_a_file_is_attached_and_served_with_a_fixed_type(
    browser: Client, world: World, settings: object, tmp_path: object
) -> None:
    settings.FILES_DIR = tmp_path  # type: ignore[attr-defined]
    revision = world.drawing("1472-01-T1").revisions.get()
    where = f"/sets/drawings/1472-01-T1/revisions/{revision.pk}/file/"
    page = SimpleUploadedFile("roll.html", b"<html><script>alert(1)</script></html>")
    assert problems(browser.post(where, {"file": page}).content) == ["unknown_file_type"]
    assert problems(browser.post(where, {}).content) == ["required"]
    drawn = SimpleUploadedFile("roll.pdf", b"%PDF-1.7 x", content_type="text/html")
    assert browser.post(where, {"file": drawn}).status_code == 302
    sha256 = revision.files.get().file.sha256
    served = browser.get(f"/sets/drawings/files/{sha256}/")
    assert b"".join(served.streaming_content) == b"%PDF-1.7 x"
    assert served.headers["Content-Type"] == "application/pdf"
    assert served.headers["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in served.headers["Content-Security-Policy"]
    assert Client().get(f"/sets/drawings/files/{sha256}/").status_code == 302


READ_ONLY_POSTS = [
    "/pieces/new/",
    "/pieces/{piece}/edit/",
    "/pieces/{piece}/stop/",
    "/pieces/{piece}/condition/",
    "/pieces/{piece}/lift/",
    "/pieces/{piece}/aliases/",
    "/pieces/{piece}/reading/",
    "/pieces/{piece}/work/",
    "/pieces/{piece}/length/",
    "/pieces/stock/new/",
    "/mills/new/",
    "/sets/new/",
    "/sets/drawings/new/",
    "/shop/places/new/",
    "/shop/owners/new/",
    "/shop/people/new/",
    "/shop/settings/lift_warn/",
    "/shop/settings/lift_warn/reset/",
]


@pytest.mark.parametrize("path", READ_ONLY_POSTS)
def test_a_viewer_changes_nothing(path: str, viewer: Person, log_in: LogIn, piece: Piece) -> None:
    fields = {"reason": "x", "condition": "sound", "text": "x"}
    answer = log_in(viewer).post(path.format(piece=piece.code), fields)
    assert answer.status_code == 403
    assert problems(answer.content) == ["not_allowed"]


def test_everybody_chooses_their_own_units(viewer: Person, log_in: LogIn, piece: Piece) -> None:
    browser = log_in(viewer)
    assert "60 mm" in browser.get("/pieces/").content.decode()
    browser.post("/shop/myself/", {"length_unit": "in", "strip_unit": "ft"})
    assert "2.3622 in" in browser.get("/pieces/").content.decode()
