"""Drawings: impossible sizes are refused, questionable ones need a reason, revisions succeed."""

from __future__ import annotations

from datetime import datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.world import MM
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Drawing, DrawingFile, Person
from tooling.services import drawing_files, drawings

IN = 25_400_000
ROLL = {
    "unit": "mm",
    "bore_nm": 70 * MM,
    "keyway_width_nm": 20 * MM,
    "keyway_depth_nm": 4_900_000,
    "face_width_nm": 90 * MM,
    "root_diameter_nm": 140 * MM,
    "drive_diameter_nm": 150 * MM,
    "outside_diameter_nm": 180 * MM,
    "least_root_diameter_nm": 134 * MM,
}


def make(by: Person, at: datetime, **changed: object):  # type: ignore[no-untyped-def]
    return drawings.create_drawing(
        by=by, at=at, number="1472-03-T1", kind="roll", **{**ROLL, **changed}
    )


def test_a_drawing_is_made_with_its_first_revision(engineer: Person, at: datetime) -> None:
    revision = make(engineer, at)
    assert (revision.drawing.number, revision.revision, revision.is_current) == (
        "1472-03-T1", "A", True,
    )  # fmt: skip
    assert Change.objects.filter(by=engineer, what="created").count() == 2


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"bore_nm": 0}, "not_positive"),
        ({"bore_nm": -MM}, "not_positive"),
        ({"face_width_nm": 0}, "not_positive"),
        ({"bore_nm": 140 * MM}, "bore_too_large"),
        ({"bore_nm": 150 * MM, "root_diameter_nm": None}, "bore_too_large"),
        ({"root_diameter_nm": 181 * MM}, "root_above_outside"),
        ({"keyway_width_nm": 70 * MM}, "keyway_too_wide"),
        ({"least_root_diameter_nm": 141 * MM}, "least_above_drawn"),
        # bore 70, depth 30, width 20: √(65² + 10²) = 65.765; root 131/2 = 65.5 is inside it
        ({"keyway_depth_nm": 30 * MM, "root_diameter_nm": 131 * MM,
          "least_root_diameter_nm": None}, "no_wall"),
    ],
)  # fmt: skip
def test_sizes_that_cannot_be_are_refused_even_with_a_reason(
    changed: dict[str, object], code: str, engineer: Person, at: datetime
) -> None:
    with pytest.raises(ToolingError) as refused:
        make(engineer, at, reason="because", **changed)
    assert refused.value.code == code
    assert not Drawing.objects.exists()


def test_a_wall_at_the_key_corner_below_the_setting_needs_a_reason(
    engineer: Person, at: datetime
) -> None:
    # bore 70, depth 4.9, width 20: √(39.9² + 10²) = 41.134; root 94/2 leaves 5.866 < 6 mm
    thin = {"root_diameter_nm": 94 * MM, "least_root_diameter_nm": None}
    with pytest.raises(ToolingError) as asked:
        make(engineer, at, **thin)
    assert asked.value.code == "thin_wall"
    assert asked.value.values["wall"] == "5.866 mm"
    assert asked.value.values["asks"] == "reason"
    revision = make(engineer, at, reason="old pattern, low load", **thin)
    change = Change.objects.get(subject="DrawingRevision")
    assert change.after["reason"] == "old pattern, low load"
    assert revision.root_diameter_nm == 94 * MM


def test_an_inch_drawing_is_held_to_the_inch_default(engineer: Person, at: datetime) -> None:
    # bore 2.5, depth 0.278, width 5/8 in: √(1.528² + 0.3125²) = 1.5596; root 3.6/2 leaves 0.2404
    sizes = {
        "unit": "in",
        "bore_nm": 5 * IN // 2,
        "keyway_width_nm": 5 * IN // 8,
        "keyway_depth_nm": 278 * IN // 1000,
        "root_diameter_nm": 18 * IN // 5,
        "drive_diameter_nm": 6 * IN,
        "outside_diameter_nm": 7 * IN,
        "least_root_diameter_nm": None,
    }
    with pytest.raises(ToolingError) as asked:
        make(engineer, at, **sizes)
    assert (asked.value.code, asked.value.values["least"]) == ("thin_wall", "0.250 in")


def test_a_key_in_neither_table_needs_a_reason(engineer: Person, at: datetime) -> None:
    with pytest.raises(ToolingError) as asked:
        make(engineer, at, keyway_width_nm=17 * MM)
    assert (asked.value.code, asked.value.values["asks"]) == ("key_off_table", "reason")
    assert make(engineer, at, keyway_width_nm=17 * MM, reason="as on the old mill")


def test_a_new_revision_takes_over_and_says_what_becomes_of_old_pieces(
    engineer: Person, at: datetime
) -> None:
    first = make(engineer, at)
    second = drawings.new_revision(
        by=engineer, at=at, drawing=first.drawing, revision="B", old_pieces="rework", **ROLL
    )
    first.refresh_from_db()
    assert (first.is_current, second.is_current, second.old_pieces) == (False, True, "rework")


def test_numbers_and_revisions_are_not_given_twice(engineer: Person, at: datetime) -> None:
    first = make(engineer, at)
    with pytest.raises(ToolingError, match="already_there"):
        drawings.create_drawing(by=engineer, at=at, number="1472-03-t1", kind="roll")
    with pytest.raises(ToolingError, match="already_there"):
        drawings.new_revision(
            by=engineer, at=at, drawing=first.drawing, revision="a", old_pieces="as_is"
        )


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_drawings_are_the_engineers(role: str, cast: dict[str, Person], at: datetime) -> None:
    with pytest.raises(NotAllowed):
        make(cast[role], at)


PDF = b"%PDF-1.7 a page"


def sent(name: str, data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def test_a_file_without_a_name_is_refused_and_a_path_in_it_dropped(
    engineer: Person, at: datetime
) -> None:
    revision, upload = make(engineer, at), sent("a.pdf", PDF)
    upload._name = "../../etc/a.pdf"
    row = drawing_files.attach(by=engineer, at=at, revision=revision, upload=upload)
    assert row.name == "a.pdf"
    upload._name = ""
    with pytest.raises(ToolingError, match="empty_text"):
        drawing_files.attach(by=engineer, at=at, revision=revision, upload=upload)


@pytest.fixture(autouse=True)
def _files_in_a_folder_of_their_own(tmp_path, settings) -> None:  # type: ignore[no-untyped-def]
    settings.FILES_DIR = tmp_path / "files"


@pytest.mark.parametrize(
    ("name", "data", "kind"),
    [
        ("roll.pdf", PDF, "application/pdf"),
        ("roll.png", b"\x89PNG\r\n\x1a\n...", "image/png"),
        ("roll.stp", b"ISO-10303-21;\nHEADER;", "model/step"),
        ("roll.igs", b"roll".ljust(72) + b"S      1\n", "text/plain; charset=utf-8"),
        ("roll.dxf", b"999\nmade by hand\n0\nSECTION\n2\nHEADER\n", "text/plain; charset=utf-8"),
    ],
)
def test_a_file_is_kept_under_its_hash_with_the_type_its_bytes_tell(
    name: str, data: bytes, kind: str, engineer: Person, at: datetime, settings: object
) -> None:
    revision = make(engineer, at)
    row = drawing_files.attach(by=engineer, at=at, revision=revision, upload=sent(name, data))
    assert row.file.content_type == kind
    kept = settings.FILES_DIR / row.file.sha256  # type: ignore[attr-defined]
    assert kept.read_bytes() == data


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("roll.pdf", b"<html><script>alert(1)</script>", "unknown_file_type"),
        ("roll.pdf", b"MZ\x90\x00", "unknown_file_type"),
        ("roll.pdf", b"", "empty_file"),
        ("roll.igs", b"roll".ljust(72) + b"G      1\n", "unknown_file_type"),
    ],
)
def test_what_is_no_drawing_inside_is_refused_whatever_it_is_called(
    name: str, data: bytes, code: str, engineer: Person, at: datetime
) -> None:
    revision = make(engineer, at)
    with pytest.raises(ToolingError) as refused:
        drawing_files.attach(by=engineer, at=at, revision=revision, upload=sent(name, data))
    assert refused.value.code == code
    assert not DrawingFile.objects.exists()


def test_a_file_beyond_thirty_megabytes_is_refused(
    engineer: Person, at: datetime, settings: object
) -> None:
    settings.UPLOAD_MOST_BYTES = 20  # type: ignore[attr-defined]
    with pytest.raises(ToolingError, match="file_too_large"):
        drawing_files.attach(
            by=engineer, at=at, revision=make(engineer, at), upload=sent("a.pdf", PDF * 2)
        )


def test_two_files_of_one_revision_do_not_share_a_name(engineer: Person, at: datetime) -> None:
    revision = make(engineer, at)
    attach = {"by": engineer, "at": at, "revision": revision}
    drawing_files.attach(**attach, upload=sent("a.pdf", PDF))
    with pytest.raises(ToolingError, match="already_there"):
        drawing_files.attach(**attach, upload=sent("a.pdf", PDF + b"2"))
