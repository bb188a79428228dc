"""Runs: one act puts its length on what was mounted; wrong ones are put right by further rows."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.services.mounted import Mounted, mounted
from tests.standing import Standing
from tests.world import MM, World
from tooling.engineering.lengths import NM_PER_M
from tooling.errors import ToolingError
from tooling.models import Kit, KitPosition, LengthEntry, Person, Piece, Run, RunPiece
from tooling.queries.runs import run_page, setup_runs
from tooling.services import lengths_run, mounting, runs, strip_down
from tooling.services.rebuild import differences
from tooling.services.run_ways import RunIn

pytestmark = pytest.mark.django_db
M = NM_PER_M


@pytest.fixture(scope="module")
def standing_stood(standing_world: World, standing_cast: dict[str, Person]) -> Mounted:
    found = mounted(standing_world, standing_cast["crew"])
    job = found.kit.job
    job.length_nm, job.strip_class, job.thickness_nm, job.width_nm = (
        5_000 * M, "galvanised", 2 * MM, 200 * MM
    )  # fmt: skip
    job.save()
    return found


@pytest.fixture
def stood(standing: Standing, standing_stood: Mounted) -> Mounted:
    return standing.copy(standing_stood)


def ran(stood: Mounted, by: Person, length: int | None = 1_000, **more: Any) -> Run:
    said = more.pop("said", None) or RunIn(length_nm=None if length is None else length * M)
    minutes = more.pop("minutes", 60)
    at = stood.at + timedelta(minutes=minutes)
    return runs.record_run(by=by, at=at, setup=more.pop("setup", stood.setup), said=said, **more)


def lengths() -> dict[str, int]:
    """Metres by mark, of those that ran any."""
    rows = Piece.objects.filter(length_run_nm__gt=0).order_by("mark")
    return {mark: nm // M for mark, nm in rows.values_list("mark", "length_run_nm")}


def code_of(call: Any) -> str:
    with pytest.raises(ToolingError) as error:
        call()
    return error.value.code


def test_one_number_puts_its_length_on_every_mounted_piece(stood: Mounted, crew: Person) -> None:
    version = Kit.objects.get(pk=stood.kit.pk).version
    run = ran(stood, crew, coil="C-17")
    assert lengths() == dict.fromkeys(("01-B", "01-T", "02-B", "02-T", "03-B", "03-T"), 1_000)
    assert (run.way, run.strip_class, run.unit) == ("counter", "galvanised", "m")
    entry = LengthEntry.objects.first()
    assert entry is not None
    assert (entry.source, entry.run_reference) == ("run", f"{stood.kit.number} C-17")
    assert entry.strip_class == "galvanised"
    assert RunPiece.objects.filter(run=run).count() == 6
    assert Kit.objects.get(pk=stood.kit.pk).version > version
    assert differences() == []


def test_what_was_taken_off_or_left_out_gets_nothing(stood: Mounted, crew: Person) -> None:
    station = stood.stations[0]
    mounting.take_back(
        by=crew, at=stood.at + timedelta(minutes=5), setup=stood.setup, station=station, shaft="top"
    )
    mounting.leave_out(
        by=crew, at=stood.at + timedelta(minutes=6), setup=stood.setup, station=station,
        shaft="top", reason="cracked",
    )  # fmt: skip
    ran(stood, crew)
    assert "01-T" not in lengths()
    assert len(lengths()) == 5


def test_a_late_run_counts_for_what_was_mounted_then(stood: Mounted, crew: Person) -> None:
    """The top of the first station came off an hour after the run had ended."""
    mounting.take_back(
        by=crew, at=stood.at + timedelta(minutes=120), setup=stood.setup,
        station=stood.stations[0], shaft="top",
    )  # fmt: skip
    run = ran(stood, crew, minutes=180, happened_at=stood.at + timedelta(minutes=60))
    assert run.received_at > run.happened_at
    assert len(lengths()) == 5, "taking back says that it never was on"
    strip_down.take_off(
        by=crew, at=stood.at + timedelta(minutes=200), setup=stood.setup,
        stations=stood.stations[1:],
    )  # fmt: skip
    ran(stood, crew, minutes=300, happened_at=stood.at + timedelta(minutes=190))
    assert lengths() == dict.fromkeys(("01-B", "02-B", "02-T", "03-B", "03-T"), 2_000)
    assert differences() == []


def test_a_piece_that_another_replaced_since_keeps_what_it_ran(
    stood: Mounted, crew: Person, world: World
) -> None:
    row = KitPosition.objects.select_related("piece__drawing").filter(piece__isnull=False)[0]
    assert row.piece is not None
    old, spare = row.piece, world.piece(row.piece.drawing, stood.shop.shelf, mark="spare")
    KitPosition.objects.filter(pk=row.pk).update(piece=spare, is_staged=False, holds_piece=False)
    ran(stood, crew)
    old.refresh_from_db()
    assert old.length_run_nm == 1_000 * M
    assert Piece.objects.get(mark="spare").length_run_nm == 0


def test_a_correction_goes_through_all_its_entries(stood: Mounted, crew: Person) -> None:
    run = ran(stood, crew)
    hand = LengthEntry.objects.get(piece__mark="02-T")
    lengths_run.record_length(
        by=crew, at=stood.at + timedelta(minutes=70), piece=hand.piece, length_nm=300 * M,
        corrects=hand,
    )  # fmt: skip
    new = runs.correct_run(
        by=crew, at=stood.at + timedelta(minutes=80), run=run, said=RunIn(length_nm=1_250 * M),
        coil="C-18",
    )  # fmt: skip
    assert (new.coil, new.strip_class) == ("C-18", "galvanised")
    assert lengths() == {"01-B": 1_250, "01-T": 1_250, "02-B": 1_250, "02-T": 300, "03-B": 1_250,
                         "03-T": 1_250}  # fmt: skip
    again: dict[str, Any] = {"by": crew, "at": stood.at + timedelta(minutes=90), "run": run}
    assert code_of(lambda: runs.correct_run(**again, said=RunIn(length_nm=M))) == (
        "already_corrected"
    )
    back = runs.take_back(by=crew, at=stood.at + timedelta(minutes=95), run=new)
    assert lengths() == {}, "what did not run ran on no piece, whatever was written of one"
    assert differences() == []
    page = run_page(back.pk)
    assert (page.run.state, len(page.pieces)) == ("taken_back", 6)


def test_a_correction_to_an_earlier_end_leaves_out_what_came_on_later(
    stood: Mounted, crew: Person
) -> None:
    mounting.take_back(
        by=crew, at=stood.at + timedelta(minutes=1), setup=stood.setup,
        station=stood.stations[0], shaft="top",
    )  # fmt: skip
    mounting.mount(
        by=crew, at=stood.at + timedelta(minutes=40), setup=stood.setup,
        station=stood.stations[0], shaft="top",
    )  # fmt: skip
    run = ran(stood, crew)
    assert len(lengths()) == 6
    runs.correct_run(
        by=crew, at=stood.at + timedelta(minutes=90), run=run, said=RunIn(length_nm=1_000 * M),
        happened_at=stood.at + timedelta(minutes=30),
    )  # fmt: skip
    assert len(lengths()) == 5
    assert differences() == []


def test_the_same_run_again_counts_once_and_another_is_refused(
    stood: Mounted, crew: Person
) -> None:
    key = uuid.uuid4()
    first = ran(stood, crew, id=key)
    assert ran(stood, crew, minutes=61, id=key).pk == first.pk
    assert code_of(lambda: ran(stood, crew, 900, id=key)) == "id_reused"
    assert Run.objects.count() == 1


def struck(stood: Mounted, by: Person) -> datetime:
    then = stood.at + timedelta(minutes=100)
    setup = stood.setup
    strip_down.take_off(by=by, at=then, setup=setup, stations=stood.stations)
    strip_down.strike(by=by, at=then + timedelta(minutes=5), setup=setup, reason="done")
    setup.refresh_from_db()
    assert setup.struck_at is not None
    return setup.struck_at


def test_a_struck_setup_takes_only_what_ended_before(stood: Mounted, crew: Person) -> None:
    before = ran(stood, crew)
    end = struck(stood, crew)
    late: dict[str, Any] = {
        "by": crew,
        "at": end + timedelta(hours=3),
        "said": RunIn(length_nm=10 * M),
    }
    assert code_of(lambda: runs.record_run(setup=stood.setup, **late)) == "setup_closed"
    runs.record_run(setup=stood.setup, happened_at=end - timedelta(minutes=20), **late)
    runs.correct_run(run=before, **late)
    assert set(lengths().values()) == {20}
    assert differences() == []


@pytest.mark.parametrize(
    ("code", "said", "more"),
    [
        ("counter_backwards", RunIn(counter_start_nm=900 * M, counter_end_nm=100 * M), {}),
        ("counter_incomplete", RunIn(counter_end_nm=100 * M), {}),
        ("no_counter_start", RunIn(counter_now_nm=100 * M), {}),
        ("nothing_ran", RunIn(length_nm=0), {}),
        ("nothing_given", RunIn(), {}),
        ("parts_incomplete", RunIn(parts=12), {}),
        ("absurd_parts", RunIn(parts=0, part_nm=M), {}),
        ("coil_incomplete", RunIn(coil_outside_nm=M, coil_inside_nm=M), {}),
        ("improbable_value", RunIn(length_nm=50_000 * M), {}),
        ("absurd_length", RunIn(length_nm=10 * M, scrap_nm=-1), {}),
        ("no_counter", RunIn(from_feed=True), {}),
        ("absurd_entries", RunIn(length_nm=M), {"entries": 0}),
        ("absurd_strip", RunIn(length_nm=M), {"thickness_nm": 900 * MM}),
        ("unknown_feed", RunIn(length_nm=M), {"feed": "mule"}),
        ("absurd_mass", RunIn(mass_kg=0.0), {}),
    ],
)
def test_what_cannot_be_is_refused(
    stood: Mounted, crew: Person, code: str, said: RunIn, more: dict[str, Any]
) -> None:
    assert code_of(lambda: ran(stood, crew, None, said=said, **more)) == code
    assert not Run.objects.exists()


def test_times_that_cannot_be_are_refused(stood: Mounted, crew: Person, viewer: Person) -> None:
    at = stood.at
    early: dict[str, Any] = {"happened_at": at - timedelta(days=2)}
    assert code_of(lambda: ran(stood, crew, **early)) == "before_setup"
    ahead: dict[str, Any] = {"happened_at": at + timedelta(days=2)}
    assert code_of(lambda: ran(stood, crew, **ahead)) == "in_the_future"
    turned: dict[str, Any] = {"began_at": at + timedelta(minutes=61)}
    assert code_of(lambda: ran(stood, crew, **turned)) == "ends_before_it_begins"
    none: dict[str, Any] = {"happened_at": stood.setup.started_at}
    assert code_of(lambda: ran(stood, crew, **none)) == "nothing_mounted"
    assert code_of(lambda: ran(stood, viewer)) == "not_allowed"


def test_ways_that_differ_are_both_kept_and_no_estimate_overrides(
    stood: Mounted, crew: Person
) -> None:
    """1 000 m by the counter; parts say 1 050, the coil's mass 1 274 m of 0.2 × 0.002 m steel."""
    said = RunIn(
        length_nm=1_000 * M, parts=500, part_nm=2 * M, scrap_nm=40 * M, threading_nm=10 * M,
        mass_kg=4_000.0,
    )  # fmt: skip
    run = ran(stood, crew, None, said=said)
    assert (run.length_nm, run.way, run.ways["parts"]) == (1_000 * M, "counter", 1_050 * M)
    view = setup_runs(stood.setup, at=stood.at + timedelta(hours=2)).runs[0]
    told = {each.way: (round(each.percent, 1), each.differs) for each in view.ways}
    assert told == {"parts": (5.0, True), "mass": (27.4, True)}
    only = ran(stood, crew, None, said=RunIn(parts=499, part_nm=2 * M, mass_kg=3_140.0), minutes=90)
    assert (only.way, only.length_nm) == ("parts", 998 * M)
    view = setup_runs(stood.setup, at=stood.at + timedelta(hours=2)).runs[0]
    assert not view.differs


def test_the_counter_goes_on_from_the_last_run(stood: Mounted, crew: Person) -> None:
    ran(stood, crew, None, said=RunIn(counter_start_nm=100 * M, counter_end_nm=400 * M))
    second = ran(stood, crew, None, said=RunIn(counter_now_nm=650 * M), minutes=90)
    assert (second.length_nm, second.counter_start_nm) == (250 * M, 400 * M)
    again = RunIn(counter_start_nm=300 * M, counter_end_nm=500 * M)
    assert code_of(lambda: ran(stood, crew, None, said=again, minutes=95)) == "counter_repeated"
    third = ran(stood, crew, None, said=again, minutes=95, sure=True)
    assert third.length_nm == 200 * M
    backwards = RunIn(counter_now_nm=450 * M)
    assert code_of(lambda: ran(stood, crew, None, said=backwards, minutes=99)) == (
        "counter_backwards"
    )


def test_a_late_run_that_the_counter_puts_elsewhere_is_asked_about(
    stood: Mounted, crew: Person
) -> None:
    def told(start: int, end: int, minutes: int, **more: Any) -> Run:
        said = RunIn(counter_start_nm=start * M, counter_end_nm=end * M)
        return ran(stood, crew, None, said=said, minutes=minutes, **more)

    told(400, 650, 60)
    assert code_of(lambda: told(100, 300, 90)) == "counter_late"
    assert code_of(lambda: told(700, 800, 30)) == "counter_late"
    told(100, 300, 30)
    told(0, 50, 95)
    assert told(50, 90, 99).length_nm == 40 * M, "set back to 0 it goes on from there"


def test_line_tooling_gets_a_stroke_for_each_part(stood: Mounted, crew: Person) -> None:
    shop, world = stood.shop, stood.shop.world
    die = world.drawing("DIE", kind="line_tooling", strokes_to_sharpen=50_000)
    blade = world.piece(die, shop.cart, mark="blade")
    extra = world.tool_set("LT", {(1, "line", 1): die})
    KitPosition.objects.create(
        kit=stood.kit, set_position=extra.passes.get().positions.get(), station_number=0,
        pass_number=0, shaft="line", order=1, drawing=die, piece=blade,
    )  # fmt: skip
    guide = world.drawing("GUIDE", kind="line_tooling")
    entry = world.piece(guide, shop.cart, mark="entry")
    other = world.tool_set("LG", {(1, "line", 1): guide})
    KitPosition.objects.create(
        kit=stood.kit, set_position=other.passes.get().positions.get(), station_number=0,
        pass_number=0, shaft="line", order=2, drawing=guide, piece=entry,
    )  # fmt: skip
    ran(stood, crew, None, said=RunIn(parts=400, part_nm=3 * M))
    blade.refresh_from_db()
    entry.refresh_from_db()
    assert (entry.strokes_run, entry.length_run_nm) == (0, 1_200 * M), "a guide cuts nothing"
    assert (blade.strokes_run, blade.length_run_nm) == (400, 1_200 * M)
    assert Piece.objects.get(mark="01-T").strokes_run == 0
