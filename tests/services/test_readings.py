"""Readings, past work and length run: history typed by people, and what follows from it."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import LengthEntry, Person, Piece, Reading, Work
from tooling.services import lengths_run, readings, work

KM = 10**12


@pytest.fixture
def piece(world: World) -> Piece:
    drawing = world.drawing(
        "1472-01-T1",
        bore_nm=60 * MM,
        keyway_width_nm=18 * MM,
        keyway_depth_nm=4_400_000,
        root_diameter_nm=140 * MM,
        drive_diameter_nm=145 * MM,
        outside_diameter_nm=150 * MM,
    )
    piece = world.piece(drawing, world.place("Rack A"))
    return Piece.objects.select_related("revision", "drawing").get(pk=piece.pk)


def read(by: Person, at: datetime, piece: Piece, nm: int, **fields: object) -> Reading:
    values = {"dimension": "root_diameter", "unit": "mm", **fields}
    return readings.record_reading(by=by, at=at, piece=piece, value_nm=nm, **values)


def now(piece: Piece, dimension: str = "root_diameter") -> int | None:
    size: int | None = getattr(Piece.objects.get(pk=piece.pk), f"now_{dimension}_nm")
    return size


def test_a_reading_becomes_the_present_size(crew: Person, at: datetime, piece: Piece) -> None:
    assert now(piece) is None
    reading = read(crew, at, piece, 139_820_000, as_written="139.82")
    assert now(piece) == 139_820_000
    assert (reading.by, reading.as_written) == (crew, "139.82")


def test_an_older_reading_typed_later_changes_history_not_the_present(
    crew: Person, at: datetime, piece: Piece
) -> None:
    read(crew, at, piece, 139_500_000)
    read(crew, at, piece, 139_900_000, happened_at=at - timedelta(days=30))
    assert now(piece) == 139_500_000


def test_a_correction_replaces_the_wrong_reading_and_keeps_it(
    crew: Person, at: datetime, piece: Piece
) -> None:
    wrong = read(crew, at, piece, 138_900_000)
    read(crew, at, piece, 139_800_000, corrects=wrong, happened_at=at - timedelta(hours=1))
    assert now(piece) == 139_800_000
    assert Reading.objects.count() == 2
    with pytest.raises(ToolingError, match="already_corrected"):
        read(crew, at, piece, 139_700_000, corrects=wrong)


def test_a_value_far_from_the_present_is_asked_about_once(
    crew: Person, at: datetime, piece: Piece
) -> None:
    # 5 × the usual cut of 0.75 mm is 3.75 mm: 136.25 mm is the last that passes unasked
    read(crew, at, piece, 136_250_000)
    with pytest.raises(ToolingError) as asked:
        read(crew, at, piece, 132_400_000)
    assert (asked.value.code, asked.value.values["asks"]) == ("improbable_value", "sure")
    read(crew, at, piece, 132_400_000, sure=True)
    assert now(piece) == 132_400_000


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"nm": 0}, "not_positive"),
        ({"nm": -5}, "not_positive"),
        ({"nm": 140 * MM, "dimension": "colour"}, "unknown_dimension"),
        ({"nm": 151 * MM, "sure": True}, "root_above_outside"),
        # bore 60, depth 4.4, width 18: √(34.4² + 9²) = 35.558; 71/2 = 35.5 lies inside it
        ({"nm": 71 * MM, "sure": True}, "no_wall"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_nothing_moves(
    fields: dict[str, object], code: str, crew: Person, at: datetime, piece: Piece
) -> None:
    with pytest.raises(ToolingError) as refused:
        read(crew, at, piece, **fields)  # type: ignore[arg-type]
    assert refused.value.code == code
    assert not Reading.objects.exists()
    assert now(piece) is None


def test_nothing_is_measured_in_the_future(crew: Person, at: datetime, piece: Piece) -> None:
    with pytest.raises(ToolingError, match="in_the_future"):
        read(crew, at, piece, 139 * MM, happened_at=at + timedelta(hours=1))


def test_a_worn_bore_does_not_thin_the_wall(crew: Person, at: datetime, piece: Piece) -> None:
    # the bottom of the keyseat stays where it was cut: √(34.4² + 9²) = 35.558 < 71.2/2
    read(crew, at, piece, 71_200_000, sure=True)
    read(crew, at, piece, 60_500_000, dimension="bore")
    assert now(piece, "bore") == 60_500_000


def test_viewers_record_nothing(viewer: Person, at: datetime, piece: Piece) -> None:
    with pytest.raises(NotAllowed):
        read(viewer, at, piece, 139 * MM)
    with pytest.raises(NotAllowed):
        lengths_run.record_length(by=viewer, at=at, piece=piece, length_nm=KM)
    with pytest.raises(NotAllowed):
        regrind(viewer, at, piece)


def regrind(by: Person, at: datetime, piece: Piece, **fields: object) -> Work:
    values = {
        "kind": "regrind",
        "done_on": date(2026, 3, 14),
        "done_by": "Haldane Grinding",
        "sizes": {"root_diameter": (140 * MM, 139_250_000)},
        **fields,
    }
    return work.record_work(by=by, at=at, piece=piece, **values)


def test_a_past_regrind_says_who_and_what_and_sets_the_present_size(
    engineer: Person, at: datetime, piece: Piece
) -> None:
    done = regrind(engineer, at, piece)
    measure = done.measures.get()
    assert (done.done_by, measure.before_nm, measure.after_nm) == (
        "Haldane Grinding", 140 * MM, 139_250_000,
    )  # fmt: skip
    assert now(piece) == 139_250_000


def test_a_reading_after_the_cut_says_more_than_the_cut(
    engineer: Person, at: datetime, piece: Piece
) -> None:
    read(engineer, at, piece, 139_100_000)
    regrind(engineer, at, piece)
    assert now(piece) == 139_100_000


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"done_on": date(2026, 11, 26)}, "in_the_future"),
        ({"sizes": {}}, "no_sizes"),
        ({"sizes": {"face_width": (10 * MM, 9 * MM)}}, "no_sizes"),
        ({"sizes": {"root_diameter": (139 * MM, 140 * MM)}}, "cut_made_larger"),
        ({"sizes": {"root_diameter": (140 * MM, 71 * MM)}}, "no_wall"),
        ({"kind": "magic"}, "unknown_kind"),
    ],
)
def test_work_that_cannot_have_been_is_refused(
    fields: dict[str, object], code: str, engineer: Person, at: datetime, piece: Piece
) -> None:
    with pytest.raises(ToolingError) as refused:
        regrind(engineer, at, piece, **fields)
    assert refused.value.code == code
    assert not Work.objects.exists()


def test_corrected_work_gives_its_size_back(engineer: Person, at: datetime, piece: Piece) -> None:
    wrong = regrind(engineer, at, piece, sizes={"root_diameter": (None, 129_250_000)})
    regrind(engineer, at, piece, corrects=wrong)
    assert now(piece) == 139_250_000


def ran(by: Person, at: datetime, piece: Piece, nm: int, **fields: object) -> LengthEntry:
    return lengths_run.record_length(by=by, at=at, piece=piece, length_nm=nm, **fields)


def total(piece: Piece) -> int:
    return Piece.objects.get(pk=piece.pk).length_run_nm


def test_lengths_add_up_and_a_correction_replaces(crew: Person, at: datetime, piece: Piece) -> None:
    ran(crew, at, piece, 12 * KM, strip_class="galvanised")
    wrong = ran(crew, at, piece, 90 * KM)
    assert total(piece) == 102 * KM
    ran(crew, at, piece, 9 * KM, corrects=wrong)
    assert total(piece) == 21 * KM


@pytest.mark.parametrize("nm", [0, -1, 1_000_001 * KM])
def test_no_length_a_negative_and_an_absurd_one_are_refused(
    nm: int, crew: Person, at: datetime, piece: Piece
) -> None:
    with pytest.raises(ToolingError, match="absurd_length"):
        ran(crew, at, piece, nm)
    assert total(piece) == 0


@given(lengths=st.lists(st.integers(1, 10**15), min_size=1, max_size=6), wrong=st.data())
def test_length_run_is_the_sum_of_what_nothing_corrects(
    lengths: list[int], wrong: st.DataObject, crew: Person, at: datetime, piece: Piece
) -> None:
    start = total(piece)
    entries = [ran(crew, at, piece, nm) for nm in lengths]
    index = wrong.draw(st.integers(0, len(entries) - 1))
    ran(crew, at, piece, 0, corrects=entries[index])
    assert total(piece) - start == sum(lengths) - lengths[index]
