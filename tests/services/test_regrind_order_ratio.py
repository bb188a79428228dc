"""An order for a set on a mill that is not one to one."""

from __future__ import annotations

import pytest

from tests.grinding import Grinding
from tooling.queries.regrind_release import judge_order, judged_lines

pytestmark = pytest.mark.django_db


def test_an_order_keeps_the_equal_cut_of_a_ratio_in_view(world, engineer):
    """9.000 on 6.000 at 1.5, each less 0.030: 8.970 / 5.970 is 0.17 % off. It warns."""
    shop = Grinding(world, tops=(9.0, 9.03, 9.06, 9.09), ratio="1.5")
    order = shop.request(engineer, (1, "top", 1), (1, "bottom", 1))
    judged = judge_order(judged_lines(order), at=world.at)
    told = [each for each in judged.sets[0].checks if each.code == "ratio_off"]
    assert [(each.level, each.pass_number) for each in told] == [("warn", 1)]
    assert "0.168 %" in told[0].said
