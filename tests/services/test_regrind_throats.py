"""What a worn throat or drive says to a regrind plan, and what it does not say twice."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.regrind_shop import DRAWN, RegrindShop, regrind_shop, work_out
from tests.world import MM, World
from tooling.models import Person, WearState
from tooling.queries.regrind_asks import Asks
from tooling.queries.regrind_facts import read_facts
from tooling.queries.regrind_plans import find_plan
from tooling.queries.regrind_problem import problem_of
from tooling.services import regrind_plans

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world: World) -> RegrindShop:
    return regrind_shop(world)


def test_without_a_forecast_a_measured_throat_says_what_it_lost(
    shop: RegrindShop, at: datetime
) -> None:
    WearState.objects.all().delete()
    shop.rolls[3, "bottom"].drawing.gauge_points.all().delete()
    piece = shop.rolls[1, "top"]
    piece.now_root_diameter_nm = (piece.made_root_diameter_nm or 0) - 300_000
    piece.save()
    asked = problem_of(read_facts([shop.copy.pk], at=at), [shop.copy.pk], Asks())
    (point,) = asked.problem.by_name[piece.code].points
    assert (point.name, point.depth_nm, point.limit_nm) == ("root diameter", 150_000, None)


def test_what_wear_took_at_a_throat_is_not_taken_off_it_twice(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    """130.40 at the last work, read at 129.40: half a millimetre lost. 1.10 off 130.40 is 129.30;
    counted from the worn throat it would be 128.30, under the least of 129.00."""
    piece = shop.rolls[3, "bottom"]
    piece.drawing.gauge_points.update(dimension="root_diameter")
    piece.drawing.revisions.update(least_root_diameter_nm=129 * MM)
    piece.now_root_diameter_nm = DRAWN[3] - 20 * MM - 1 * MM
    piece.save()
    asked = problem_of(read_facts([shop.copy.pk], at=at), [shop.copy.pk], Asks())
    root = asked.problem.by_name[piece.code].diameter("root")
    assert root is not None
    assert root.now_nm == DRAWN[3] - 20 * MM
    plan = regrind_plans.start_plan(by=engineer, at=at, copies=[shop.copy], asks=Asks(no_new=True))
    work_out(engineer, at, plan.number)
    line = find_plan(plan.number).lines.get(piece=piece)
    assert (line.decision, line.amount_nm) == ("cut", 1_100_000)


def test_what_wear_took_at_a_drive_is_not_taken_off_it_twice(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    """150.40 at the last work, 149.40 now: half a millimetre lost on radius. 2 · (0.50 + 0.05) is
    1.10 off 150.40, so 149.30, and 1.00 of that is gone already: 0.10 comes off 149.40. The throat,
    130.40 then and never read, is 129.30 with it: 1.00 lower than drawn before the cut counts."""
    piece = shop.rolls[3, "bottom"]
    piece.drawing.gauge_points.update(dimension="drive_diameter")
    piece.now_drive_diameter_nm = DRAWN[3] - 1 * MM
    piece.save()
    asked = problem_of(read_facts([shop.copy.pk], at=at), [shop.copy.pk], Asks())
    told = asked.problem.by_name[piece.code]
    sizes = {each.name: each.now_nm for each in told.diameters}
    assert (told.worn_nm, sizes["drive"], sizes["root"]) == (
        1_000_000, DRAWN[3] - 1 * MM, DRAWN[3] - 21 * MM,
    )  # fmt: skip
    plan = regrind_plans.start_plan(by=engineer, at=at, copies=[shop.copy], asks=Asks(no_new=True))
    work_out(engineer, at, plan.number)
    line = find_plan(plan.number).lines.get(piece=piece)
    assert (line.decision, line.amount_nm) == ("cut", 100_000)


def test_a_drive_without_gauge_points_counts_what_it_lost_once(
    shop: RegrindShop, at: datetime
) -> None:
    """Made 150.00, 149.40 now, its throat never measured: 0.30 a side, of which 0.60 on diameter is
    gone already."""
    piece = shop.rolls[1, "top"]
    piece.drawing.gauge_points.all().delete()
    piece.made_drive_diameter_nm = DRAWN[1]
    piece.now_drive_diameter_nm = DRAWN[1] - 600_000
    piece.save()
    asked = problem_of(read_facts([shop.copy.pk], at=at), [shop.copy.pk], Asks())
    told = asked.problem.by_name[piece.code]
    assert [(each.name, each.depth_nm) for each in told.points] == [("drive diameter", 300_000)]
    assert told.worn_nm == 600_000
