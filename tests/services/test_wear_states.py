"""Forecasts through the database: out of readings, work and runs, written with their cause."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from tests.services.mounted import Mounted, mounted
from tests.world import MM, World
from tooling.engineering.lengths import NM_PER_M
from tooling.models import GaugePoint, Person, Piece, Reading, Shop, WearPool, WearState
from tooling.queries.kit_views import PositionView
from tooling.queries.kits import kit_page
from tooling.queries.wear_lives import lives
from tooling.queries.wear_present import all_present_lives, present_lives
from tooling.queries.wear_prior import learned
from tooling.services import lengths_run, readings, runs, wear_states, work
from tooling.services.rebuild import differences, rebuild
from tooling.services.run_ways import RunIn

pytestmark = pytest.mark.django_db
KM = 1_000 * NM_PER_M


def a_point(piece: Piece, **fields: object) -> GaugePoint:
    made: GaugePoint = GaugePoint.objects.create(
        **{"drawing": piece.drawing, "name": "root", "dimension": "root_diameter",
           "new_nm": 150 * MM, "limit_nm": 149 * MM, **fields}
    )  # fmt: skip
    return made


@pytest.fixture
def piece(world: World) -> Piece:
    drawing = world.drawing("R-1", root_diameter_nm=150 * MM)
    found = world.piece(drawing, world.place("Rack"))
    return Piece.objects.select_related("drawing", "revision").get(pk=found.pk)


def ran(by: Person, at: datetime, piece: Piece, km: int, days: float) -> None:
    lengths_run.record_length(
        by=by, at=at, piece=piece, length_nm=km * KM, happened_at=at + timedelta(days=days)
    )


def read(by: Person, at: datetime, piece: Piece, nm: int, days: float) -> Reading:
    return readings.record_reading(
        by=by, at=at, piece=piece, dimension="root_diameter", value_nm=nm, unit="mm", sure=True,
        happened_at=at + timedelta(days=days),
    )  # fmt: skip


def test_a_life_begins_at_the_cut_and_counts_what_ran_since(
    crew: Person, engineer: Person, at: datetime, piece: Piece
) -> None:
    point = a_point(piece)
    ran(crew, at, piece, 100, -40)
    read(crew, at, piece, 149_900_000, -39)
    work.record_work(
        by=engineer, at=at, piece=piece, kind="regrind", done_on=(at - timedelta(days=30)).date(),
        done_by="", sizes={"root_diameter": (149_900_000, 149_700_000)}, note="",
    )  # fmt: skip
    ran(crew, at, piece, 60, -20)
    read(crew, at, piece, 149_680_000, -19)
    ran(crew, at, piece, 40, -10)
    (life,) = lives([piece.pk])
    assert (life.point_id, life.cut_on) == (point.pk, (at - timedelta(days=30)).date())
    assert life.run_nm == 100 * KM
    after, later = sorted(life.history.readings, key=lambda r: sum(r.run_nm.values()))
    assert (after.value_nm, dict(after.run_nm)) == (149_700_000, {})
    assert sum(later.run_nm.values()) == 60 * KM
    whole = lives([piece.pk], past=True)
    assert [(each.cut_on is None, each.run_nm // KM) for each in whole] == [
        (True, 100), (False, 100),
    ]  # fmt: skip
    assert whole[0].history.spec.new_nm == 150 * MM


@pytest.mark.parametrize(
    ("zone", "off"), [("UTC", 0), ("America/Chicago", 6), ("Asia/Tokyo", -9), ("", 0)]
)
def test_a_life_begins_with_the_day_of_its_cut_by_the_shop_s_clock(
    crew: Person, engineer: Person, at: datetime, piece: Piece, zone: str, off: int
) -> None:
    """Cut on the 20th. What ran at 23:00 of the 19th by the wall ran before it, what ran at 01:00
    of the 20th after it. Off: what UTC is ahead of standard time there."""
    Shop.objects.all().delete()
    if zone:
        Shop.objects.create(pk=1, name="Harrow Lane", time_zone=zone)
    a_point(piece)
    midnight = datetime(2026, 11, 20, off % 24, tzinfo=UTC) - timedelta(days=off < 0)
    evening, morning = ((midnight + timedelta(hours=n) - at) / timedelta(days=1) for n in (-1, 1))
    ran(crew, at, piece, 100, evening)
    read(crew, at, piece, 149_900_000, evening)
    work.record_work(
        by=engineer, at=at, piece=piece, kind="regrind", done_on=date(2026, 11, 20),
        done_by="", sizes={"root_diameter": (149_900_000, 149_700_000)}, note="",
    )  # fmt: skip
    (life,) = lives([piece.pk])
    assert (life.run_nm, [each.value_nm for each in life.history.readings]) == (0, [149_700_000])
    ran(crew, at, piece, 60, morning)
    (life,) = lives([piece.pk])
    assert life.run_nm == 60 * KM
    assert WearState.objects.get().run_nm == 60 * KM
    assert differences() == []


def test_a_reading_and_a_run_write_the_forecast_anew(crew: Person, world: World) -> None:
    stood: Mounted = mounted(world, crew)
    piece = Piece.objects.select_related("drawing", "revision").get(mark="01-T")
    a_point(piece, new_nm=150 * MM, dimension="drive_diameter", name="crown")
    setup, at = stood.setup, stood.at
    assert not WearState.objects.exists()
    for n in range(1, 4):
        runs.record_run(
            by=crew, at=at + timedelta(hours=2 * n), setup=setup, said=RunIn(length_nm=60 * KM),
            sure=True,
        )  # fmt: skip
        readings.record_reading(
            by=crew, at=at + timedelta(hours=2 * n + 1), piece=piece, dimension="drive_diameter",
            value_nm=150 * MM - 40_000 * n, unit="mm", sure=True,
        )  # fmt: skip
    state = WearState.objects.get()
    assert (state.says, state.readings, state.run_nm) == ("own", 3, 180 * KM)
    assert state.last_value_nm == 150 * MM - 120_000
    assert state.left_half_m is not None
    assert state.left_sure_m is not None
    assert 0 < state.left_sure_m < state.left_half_m
    before = state.left_half_m
    runs.record_run(
        by=crew, at=at + timedelta(hours=9), setup=setup, said=RunIn(length_nm=60 * KM), sure=True
    )
    state.refresh_from_db()
    assert state.left_half_m == pytest.approx(before - 60_000, rel=0.05)


def test_taking_a_point_out_of_use_takes_its_forecast_away(
    crew: Person, at: datetime, piece: Piece
) -> None:
    point = a_point(piece)
    read(crew, at, piece, 149_900_000, -1)
    assert WearState.objects.count() == 1
    GaugePoint.objects.filter(pk=point.pk).update(is_in_use=False)
    wear_states.refresh_wear([piece.pk], at=at)
    assert not WearState.objects.exists()


def test_learning_pools_like_pieces_and_tells_all_forecasts_anew(
    crew: Person, at: datetime, world: World
) -> None:
    drawing = world.drawing("R-9", root_diameter_nm=150 * MM, material="D2")
    rack = world.place("Rack")
    pieces = [world.piece(drawing, rack, mark=str(n)) for n in range(4)]
    GaugePoint.objects.create(
        drawing=drawing, name="root", dimension="root_diameter", limit_nm=149 * MM
    )
    for n, piece in enumerate(pieces[:3]):
        for turn in range(1, 4):
            ran(crew, at, piece, 50, -30 + 2 * turn)
            read(crew, at, piece, 150 * MM - (18_000 + 2_000 * n) * turn, -29 + 2 * turn)
    wear_states.learn(at=at)
    pool = WearPool.objects.get(key="R-9 root")
    assert (pool.pieces, pool.readings) == (4, 9)
    fresh = WearState.objects.get(piece=pieces[3])
    assert (fresh.says, fresh.pool_id) == ("pool", pool.pk)
    assert fresh.left_half_m == pytest.approx(2_500_000, rel=0.6)
    rows = list(WearState.objects.order_by("pk").values("piece", "left_half_m", "left_sure_m"))
    wear_states.refresh_all(at=at + timedelta(hours=1))
    assert rows == list(
        WearState.objects.order_by("pk").values("piece", "left_half_m", "left_sure_m")
    )


def test_a_refresh_asks_the_same_however_many_pieces(
    crew: Person, at: datetime, world: World, django_assert_num_queries: object
) -> None:
    drawing = world.drawing("R-9", root_diameter_nm=150 * MM)
    rack = world.place("Rack")
    GaugePoint.objects.create(drawing=drawing, name="root", dimension="root_diameter")
    pieces = [world.piece(drawing, rack).pk for _ in range(30)]
    for some in (pieces[:1], pieces):
        with django_assert_num_queries(11):  # type: ignore[operator]
            wear_states.refresh_wear(some, at=at)


@pytest.mark.parametrize("at_a_time", [1, 2, 3, 250])
def test_all_lives_are_read_in_blocks_that_leave_out_no_piece(
    crew: Person, world: World, at: datetime, piece: Piece, at_a_time: int
) -> None:
    """Five gauged pieces, two of them with two ends, and others before, between and after."""
    a_point(piece)
    plain, ends = world.drawing("P-1"), world.drawing("R-2", root_diameter_nm=150 * MM)
    GaugePoint.objects.create(
        drawing=ends, name="root", dimension="root_diameter", depth_limit_nm=MM, has_two_ends=True
    )
    rack = world.place("Rack 2")
    for drawing in (plain, ends, piece.drawing, plain, ends, piece.drawing, plain):
        ran(crew, at, world.piece(drawing, rack), 10, -2)
    known = learned()
    blocks = list(all_present_lives(known, at_a_time))
    assert [life for _some, found in blocks for life in found] == present_lives(None, known)
    assert len(present_lives(None, known)) == 7
    assert len(blocks) == -(-5 // at_a_time)
    assert [number for some, _found in blocks for number in some] == list(range(blocks[-1][0].stop))
    assert set(Piece.objects.values_list("pk", flat=True)) <= set(range(blocks[-1][0].stop))


def test_an_empty_shop_has_one_empty_block() -> None:
    ((some, found),) = all_present_lives(learned())
    assert (list(some), found) == ([0], [])


def test_telling_all_anew_takes_what_no_point_tells_of_away(
    crew: Person, world: World, at: datetime, piece: Piece
) -> None:
    """Its drawing's only point went out of use without anybody telling forecasts."""
    point = a_point(piece)
    ran(crew, at, piece, 100, -40)
    assert WearState.objects.get().piece_id == piece.pk
    other = world.piece(world.drawing("R-2", root_diameter_nm=150 * MM), world.place("Rack 2"))
    kept = a_point(Piece.objects.select_related("drawing").get(pk=other.pk))
    GaugePoint.objects.filter(pk=point.pk).update(is_in_use=False)
    assert wear_states.refresh_all(at=at) == 1
    assert list(WearState.objects.values_list("piece", "point")) == [(other.pk, kept.pk)]


@pytest.mark.parametrize(
    ("drive_mm", "radius_nm", "slides"),
    [(150, 82_500_000, 2.2), (150, 67_500_000, 2.2), (150, 75_000_000, 0.2), (150, None, 1.0),
     (None, 82_500_000, 1.0)],
)  # fmt: skip
def test_a_point_far_from_the_drive_radius_wears_as_much_more_as_it_slides(
    world: World, crew: Person, at: datetime, drive_mm: int | None, radius_nm: int | None,
    slides: float,
) -> None:  # fmt: skip
    """Archard: depths go as the length slid. By hand: (|82.5/75 - 1| + 0.01) / 0.05 = 2.2. A pool
    of the drawing's own has it in its rate."""
    sizes = {"drive_diameter_nm": drive_mm * MM} if drive_mm else {}
    drawing = world.drawing("R-9", root_diameter_nm=150 * MM, **sizes)
    roll = world.piece(drawing, world.place("Rack"))
    point = a_point(roll, local_radius_nm=radius_nm)
    ran(crew, at, roll, 100, -40)
    (life,) = lives([roll.pk])
    assert life.history.spec.sliding == pytest.approx(slides)
    (own,) = lives([roll.pk], learned={life.own_pool})
    assert own.history.spec.sliding == 1.0
    assert wear_states.in_pool(own, ()) == life
    assert wear_states.in_pool(life, {life.own_pool}) == own
    slid = WearState.objects.get(piece=roll).numbers["rate"]
    GaugePoint.objects.filter(pk=point.pk).update(local_radius_nm=None)
    wear_states.refresh_all(at=at)
    plain = WearState.objects.get(piece=roll).numbers["rate"]
    assert slid == pytest.approx(slides * plain, rel=1e-6)


def test_a_kit_asks_to_measure_what_its_job_may_wear_out(crew: Person, world: World) -> None:
    """The gauge point decides, not the usual length; what is read beyond its limit is worn."""
    stood = mounted(world, crew)
    piece = Piece.objects.select_related("drawing", "revision").get(mark="01-T")
    a_point(piece, dimension="drive_diameter", name="crown", limit_nm=149_800_000)
    job = stood.kit.job
    job.length_nm, job.strip_class = 60 * KM, "galvanised"
    job.save()
    for n in range(1, 4):
        ran(crew, stood.at, piece, 30, -9 + n)
        readings.record_reading(
            by=crew, at=stood.at, piece=piece, dimension="drive_diameter", unit="mm", sure=True,
            value_nm=150 * MM - 30_000 * n, happened_at=stood.at + timedelta(days=-9 + n, hours=1),
        )  # fmt: skip

    def view() -> PositionView:
        page = kit_page(stood.kit.number, at=stood.at)
        return next(each for each in page.positions if each.code == piece.code)

    found = view()
    assert found.state == "may_not_last"
    assert found.reason.startswith("Measure before this run, or carry the spare: crown is sure to")
    assert "%" not in found.reason
    job.length_nm = KM
    job.save()
    assert view().state == "here"
    readings.record_reading(
        by=crew, at=stood.at, piece=piece, dimension="drive_diameter", unit="mm", sure=True,
        value_nm=149_700_000,
    )  # fmt: skip
    assert (view().state, view().reason) == (
        "worn", "crown is beyond its limit, as it was read last.",
    )  # fmt: skip


def test_verify_finds_a_wrong_forecast_and_rebuild_mends_it(
    crew: Person, at: datetime, piece: Piece
) -> None:
    a_point(piece)
    for n in range(1, 4):
        ran(crew, at, piece, 40, -20 + n)
        read(crew, at, piece, 150 * MM - 20_000 * n, -19.9 + n)
    ran(crew, at, piece, 40, -2)
    assert differences() == []
    told = WearState.objects.get()
    WearState.objects.update(left_half_m=1.0)
    assert [each.what for each in differences()] == ["wear"]
    assert [each.what for each in rebuild()] == ["wear"]
    assert WearState.objects.get().left_half_m == pytest.approx(told.left_half_m)
    WearState.objects.all().delete()
    assert len(rebuild()) == 1
    assert differences() == []
