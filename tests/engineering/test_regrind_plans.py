"""What a plan says of single sets that can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tooling.engineering.regrinds import (
    Decision,
    Diameter,
    GapPoint,
    Keyway,
    Limits,
    Line,
    LinePass,
    Piece,
    Pin,
    Prices,
    Problem,
    ShaftRun,
    WearPoint,
    check_release,
    least_diameters,
    regrinds_left,
    stock_nm,
)
from tooling.engineering.regrinds.engine import solve_regrind
from tooling.engineering.regrinds.geometry import face_stock_nm
from tooling.errors import ToolingError

pytestmark = pytest.mark.one_database

IN = 25_400_000
MIL = 25_400
INCH = Limits(step_nm=MIL, allowance_nm=2 * MIL, usual_stock_nm=30 * MIL, least_wall_nm=IN // 4)


def inch(text: str) -> int:
    return int(Fraction(text) * IN)


def show(nm: int) -> str:
    return f"{nm / IN:.3f}"


def roll(
    name: str, now: str, drawn: str = "", least: str = "5.700", worn: str = "", angle: float = 0,
    limit: str = "0.006", **more: object,
) -> Piece:  # fmt: skip
    points = (WearPoint("root", inch(worn), angle, inch(limit)),) if worn else ()
    size = Diameter("drive", inch(now), inch(drawn or now), inch(least), 0)
    return Piece(name, (size,), points, **more)  # type: ignore[arg-type]


def bottoms(*sizes: str, **more: Piece) -> Problem:
    """One driven bottom shaft after the other, B1, B2 …; ``more`` takes the place of some."""
    pieces = tuple(more.get(f"B{n}") or roll(f"B{n}", size) for n, size in enumerate(sizes, 1))
    passes = tuple(LinePass(n, n, bottom=ShaftRun((piece.name,))) for n, piece in
                   enumerate(pieces, 1))  # fmt: skip
    return Problem(pieces, (Line("1472", "M1", passes),), limits=INCH)


def decided(problem: Problem) -> dict[str, Decision]:
    plan = solve_regrind(problem).plan
    assert plan is not None
    return {each.piece: each for each in plan.decisions}


def codes(decision: Decision) -> list[str]:
    return [each.code for each in decision.reasons]


def test_a_worn_pass_takes_the_passes_before_it_along() -> None:
    """By hand: pass 3 needs 2 · (0.008 + 0.002) = 0.020, so 6.040 → 6.020. Pass 2 at 6.020 is
    equal, which is not slack; it stays. Pass 3 at 0.014 deeper would take pass 2 along."""
    told = decided(
        bottoms("6.000", "6.020", "6.040", "6.060", B3=roll("B3", "6.040", worn="0.008"))
    )
    assert [told[f"B{n}"].amount_nm for n in (1, 2, 3, 4)] == [0, 0, 20 * MIL, 0]
    told = decided(
        bottoms("6.000", "6.020", "6.040", "6.060", B3=roll("B3", "6.040", worn="0.018"))
    )
    assert [told[f"B{n}"].amount_nm for n in (1, 2, 3, 4)] == [0, 20 * MIL, 40 * MIL, 0]
    assert codes(told["B2"]) == ["to_keep_step"]
    assert told["B2"].reasons[0].text(show) == "To keep step with pass 3 (B3)."
    assert codes(told["B3"]) == ["must_worn", "to_clean_up"]


def test_a_flank_takes_more_off_the_diameter() -> None:
    """0.180 mm at 60° with an allowance of 0.050: 2 · 0.23 / 0.5 = 0.92 mm."""
    assert stock_nm(180_000, 50_000, 60.0) == 920_000
    assert stock_nm(180_000, 50_000, 0.0) == 460_000


def test_the_reason_says_what_is_cleaned_up() -> None:
    piece = Piece("R7", (Diameter("drive", 150_000_000, least_nm=140_000_000),),
                  (WearPoint("flank", 180_000, 60.0, 100_000),))  # fmt: skip
    told = decided(Problem((piece,), limits=Limits()))["R7"]
    assert told.amount_nm == 920_000
    assert told.reasons[1].text(lambda nm: f"{nm / 1e6:.2f} mm") == (
        "To clean up 0.18 mm at flank, 60° to the shaft: 0.92 mm on diameter."
    )


def test_above_the_set_angle_the_face_is_cut_and_the_fill_named() -> None:
    """(0.10 + 0.05) / sin 80° = 0.1523 mm off the face."""
    piece = Piece("R7", (Diameter("drive", 150_000_000, least_nm=140_000_000),),
                  (WearPoint("flank", 100_000, 80.0, 50_000, side="inboard"),),
                  width_nm=40_000_000, faced_to_nm=39_000_000)  # fmt: skip
    told = decided(Problem((piece,)))["R7"]
    assert told.kind == "face"
    assert told.amount_nm == 0
    assert told.width_nm == told.guide_nm == face_stock_nm(100_000, 50_000, 80.0) == 152_314
    assert codes(told) == ["must_worn", "to_face"]


def test_a_face_too_narrow_is_a_segment_to_replace() -> None:
    piece = Piece("R7", (Diameter("drive", 150_000_000, least_nm=140_000_000),),
                  (WearPoint("flank", 100_000, 80.0, 50_000),), width_nm=40_000_000,
                  faced_to_nm=39_900_000, is_segment=True)  # fmt: skip
    told = decided(Problem((piece,)))["R7"]
    assert told.kind == "replace"
    assert codes(told) == ["must_worn", "face_too_narrow"]


def a_roll(*points: WearPoint, faced_to: int = 39_000_000, **more: object) -> Piece:
    """150 mm, a face of 40 mm."""
    return Piece("R7", (Diameter("drive", 150_000_000, least_nm=140_000_000),), points,
                 width_nm=40_000_000, faced_to_nm=faced_to, **more)  # type: ignore[arg-type] # fmt: skip


def settled_to_face(piece: Piece) -> Problem:
    return Problem((piece,), pins=(Pin("R7", "face"),))


def test_a_face_within_its_limit_is_cut_where_that_is_settled() -> None:
    """(0.10 + 0.05) / sin 80° = 0.1523 mm off the face; its diameters stay, though the root lost
    something too."""
    flank = WearPoint("flank", 100_000, 80.0, 150_000, side="outboard")
    piece = a_roll(flank, WearPoint("root", 20_000, 0.0, 100_000))
    assert decided(Problem((piece,)))["R7"].kind == "leave"
    plan = solve_regrind(settled_to_face(piece)).plan
    assert plan is not None
    (told,) = plan.decisions
    assert (told.kind, told.amount_nm, told.width_nm, told.guide_nm) == ("face", 0, 152_314, 0)
    assert codes(told) == ["pinned_face", "to_face"]
    assert (plan.aims.worked, plan.aims.stock_nm) == (1, 0)


def test_a_settled_face_is_paid_for() -> None:
    flank = WearPoint("flank", 100_000, 80.0, 150_000)
    priced = replace(
        settled_to_face(a_roll(flank)), prices=Prices(4_000, Fraction(10), 800, 90_000)
    )
    plan = solve_regrind(priced).plan
    assert plan is not None
    assert plan.aims.cents == 4_800


@pytest.mark.parametrize(
    ("piece", "conflict", "frees"),
    [
        (a_roll(), ["no_worn_face", "pinned_face"], ["free_unfaced", "free_pin"]),
        (
            a_roll(WearPoint("root", 20_000, 0.0, 100_000)),
            ["no_worn_face", "pinned_face"],
            ["free_unfaced", "free_pin"],
        ),
        (
            a_roll(WearPoint("flank", 100_000, 80.0, 150_000), faced_to=39_900_000),
            ["face_too_narrow", "pinned_face"],
            ["free_narrow", "free_pin"],
        ),
        (
            a_roll(
                WearPoint("flank", 100_000, 80.0, 150_000), WearPoint("root", 90_000, 0, 80_000)
            ),
            ["must_worn", "pinned_face"],
            ["free_must", "free_pin"],
        ),
    ],
)
def test_a_settled_face_that_cannot_be_kept_conflicts(
    piece: Piece, conflict: list[str], frees: list[str]
) -> None:
    solved = solve_regrind(settled_to_face(piece))
    assert solved.status == "infeasible"
    (told,) = solved.conflicts
    assert [each.code for each in told.requirements] == conflict
    assert [each.code for each in told.frees] == frees


def test_a_face_settled_where_the_set_asks_for_a_cut_conflicts_with_the_step() -> None:
    flank = (WearPoint("flank", inch("0.004"), 80.0, inch("0.008")),)
    line = bottoms("6.000", "6.020", "6.040", B3=roll("B3", "6.040", worn="0.018"))
    pieces = tuple(replace(p, may_replace=False, points=flank if p.name == "B2" else p.points)
                   for p in line.pieces)  # fmt: skip
    solved = solve_regrind(replace(line, pieces=pieces, pins=(Pin("B2", "face"),)))
    told = [each.code for each in solved.conflicts[0].requirements]
    assert told == ["pinned_face", "must_worn", "not_replaced", "keep_step"]


def test_regrinds_left_are_counted_in_whole_numbers() -> None:
    """6.000 to 5.700 by 0.030 is 10; binary fractions say 9.999."""
    assert regrinds_left(inch("6.000") - inch("5.700"), inch("0.030")) == 10
    told = decided(bottoms("6.000"))["B1"]
    assert (told.left_before, told.left) == (10, 10)
    assert decided(bottoms("6.000", B1=roll("B1", "6.000", worn="0.013")))["B1"].left == 9


def test_the_governing_least_diameter_says_why() -> None:
    """Bore 2.500, key 0.625 wide, 0.278 deep in the hub: the corner lies at
    √((1.25 + 0.278)² + 0.3125²) = 1.5596 in, so a wall of 0.250 needs 3.6193 in on diameter."""
    piece = Piece(
        "R7", (Diameter("drive", inch("6"), inch("6"), inch("3.5")),
               Diameter("root", inch("3.7"), inch("3.75"))),
        keyway=Keyway(inch("2.5"), inch("0.278"), inch("0.625")), case_depth_nm=inch("0.1"),
    )  # fmt: skip
    wall, case, *_rest = least_diameters(piece, INCH)
    assert (case.diameter, case.why) == ("root", "case")
    assert case.least_nm == inch("3.55")
    assert (wall.diameter, wall.why) == ("root", "wall")
    assert abs(wall.least_nm - inch("3.6193")) < 0.0001 * IN
    assert wall.room_nm == inch("3.7") - wall.least_nm


def test_a_recut_of_one_pass_alone_is_refused_as_slack() -> None:
    drawn = bottoms("6.000", "6.020", "6.010", "6.060", B3=roll("B3", "6.010", drawn="6.040"))
    refused = [each for each in check_release(drawn) if each.level == "no"]
    assert [(each.code, each.pass_number) for each in refused] == [("speed_slack", 3)]
    off = {f"B{n}": 30 * MIL for n in (1, 2, 3, 4)}
    level = bottoms("6.000", "6.020", "6.040", "6.060")
    assert all(each.level != "no" for each in check_release(level, off))


def pair(top: str, bottom: str, ratio: str, **more: object) -> Problem:
    run = LinePass(1, 1, Fraction(ratio), ShaftRun(("T1",)), ShaftRun(("B1",)), **more)  # type: ignore[arg-type]
    return Problem((roll("T1", top), roll("B1", bottom, worn="0.013")),
                   (Line("1472", "M1", (run,)),), limits=INCH)  # fmt: skip


def test_equal_cuts_on_unequal_gearing_are_warned_of() -> None:
    """9.000 / 6.000 at 1.5, both cut 0.030: 8.970 / 5.970 = 1.5025, 0.17 % off."""
    off = {"T1": 30 * MIL, "B1": 30 * MIL}
    warned = [each for each in check_release(pair("9", "6", "3/2"), off) if each.level == "warn"]
    assert [each.code for each in warned] == ["ratio_off"]
    assert round(warned[0].values["percent"], 2) == 0.17
    told = decided(pair("9", "6", "3/2"))
    assert told["B1"].amount_nm == 30 * MIL
    assert told["T1"].amount_nm == 37 * MIL, "8.963 is the largest within 0.1 % of 8.955"
    assert codes(told["T1"]) == ["to_keep_ratio"]


def test_centres_and_pass_line_follow() -> None:
    """Bottom fixed: the pass line falls by half of what the bottom loses, 0.015 in; centres by
    half of both."""
    gap = GapPoint("T1", inch("6"), "B1", inch("6"), inch("0.040"))
    plan = solve_regrind(pair("6", "6", "1", gap=gap, screw_lead_nm=inch("0.2"))).plan
    assert plan is not None
    (told,) = plan.lines[0].passes
    assert told.pass_line_nm == -inch("0.015")
    lost = sum(each.amount_nm for each in plan.decisions)
    assert told.centres_before_nm == inch("6.04")
    assert told.centres_after_nm == Fraction(inch("6.04")) - Fraction(lost, 2)
    assert told.top_turns == pytest.approx(-lost / 2 / inch("0.2"))
    assert told.reset


def test_centres_near_their_stop_make_a_conflict_of_four() -> None:
    gap = GapPoint("T1", inch("6"), "B1", inch("6"), inch("0.040"))
    tight = pair("6", "6", "1", gap=gap, vertical_least_nm=inch("6.02"))
    pieces = tuple(Piece(p.name, p.diameters, p.points, may_replace=False) for p in tight.pieces)
    solved = solve_regrind(Problem(pieces, tight.lines, limits=INCH))
    assert solved.status == "infeasible"
    told = [each.code for each in solved.conflicts[0].requirements]
    assert told == ["must_worn", "not_replaced", "keep_ratio", "keep_centres"]
    assert {each.code for each in solved.conflicts[0].frees} >= {"free_kept", "free_centres"}


def test_pins_are_kept_and_impossible_ones_conflict() -> None:
    worn = bottoms("6.000", B1=roll("B1", "6.000", worn="0.013", may_replace=False))
    pinned = Problem(worn.pieces, worn.lines, pins=(Pin("B1", "leave"),), limits=INCH)
    solved = solve_regrind(pinned)
    assert [each.code for each in solved.conflicts[0].requirements] == ["must_worn", "pinned_leave"]
    deeper = Problem(worn.pieces, pins=(Pin("B1", "cut_to", inch("5.950")),), limits=INCH)
    assert decided(deeper)["B1"].after_nm("drive") == inch("5.950")
    new = Problem((roll("B1", "5.9", drawn="6"),), pins=(Pin("B1", "replace"),), limits=INCH)
    assert decided(new)["B1"].after_nm("drive") == inch("6")


@pytest.mark.parametrize(
    ("pin", "code"),
    [
        (Pin("B1", "cut_to", inch("5.9505")), "off_grinder_step"),
        (Pin("B1", "cut_to", inch("6.010")), "cut_adds"),
        (Pin("B1", "cut_to", inch("5.950"), "root"), "no_such_diameter"),
    ],
)
def test_a_cut_that_no_grinder_makes_is_refused(pin: Pin, code: str) -> None:
    with pytest.raises(ToolingError) as refused:
        solve_regrind(Problem((roll("B1", "6.000"),), pins=(pin,), limits=INCH))
    assert refused.value.code == code


def test_off_the_grinder_step_the_nearest_are_named() -> None:
    problem = Problem(
        (roll("B1", "6.000"),), pins=(Pin("B1", "cut_to", inch("5.9505")),), limits=INCH
    )
    with pytest.raises(ToolingError) as refused:
        solve_regrind(problem)
    assert refused.value.values["above"] == "151.1554"
    assert refused.value.values["below"] == "151.13"


def test_a_shared_contour_is_cut_alike_and_replaced_together() -> None:
    a, b = roll("A", "6.000", worn="0.013"), roll("B", "6.010")
    told = decided(Problem((a, b), contours=(("A", "B"),), limits=INCH))
    assert told["A"].amount_nm == told["B"].amount_nm == 30 * MIL
    assert codes(told["B"]) == ["to_keep_contour"]
    deep = roll("A", "5.710", drawn="6.000", worn="0.013")
    told = decided(Problem((deep, b), contours=(("A", "B"),), limits=INCH))
    assert [told[name].kind for name in "AB"] == ["replace", "replace"]
    assert codes(told["A"]) == ["must_worn", "too_deep"]
    assert codes(told["B"]) == ["replaced_together"]


def test_pieces_of_one_contour_that_raise_each_other_tell_what_began_it() -> None:
    """Pass 3 takes B2 down by 0.020; C follows it and cleans up by 2 · (0.026 + 0.002) = 0.056,
    and B2 follows C: the two name each other, and B2 the step too."""
    line = bottoms("6.000", "6.020", "6.040", B3=roll("B3", "6.040", worn="0.018"))
    other = roll("C", "6.020", worn="0.026", limit="0.040")
    told = decided(replace(line, pieces=(*line.pieces, other), contours=(("B2", "C"),)))
    assert told["B2"].amount_nm == told["C"].amount_nm == 56 * MIL
    assert codes(told["B2"]) == ["to_keep_step", "to_keep_contour"]
    assert codes(told["C"]) == ["to_keep_contour", "to_clean_up"]


def test_a_new_roll_is_as_drawn_unless_the_next_pass_asks_for_less() -> None:
    """Pass 1 is used up. Drawn 6.000, but pass 2 was cut to 5.900: the new one is made to that."""
    spent = roll("B1", "5.705", drawn="6.000", worn="0.013")
    told = decided(bottoms("", "5.900", B1=spent, B2=roll("B2", "5.900", drawn="6.020")))
    assert told["B1"].kind == "replace"
    assert told["B1"].after_nm("drive") == inch("5.900")
    assert told["B2"].kind == "leave"


def test_with_prices_a_new_roll_may_be_cheaper_than_cutting_the_set() -> None:
    worn = roll("B4", "6.060", worn="0.040", new_cents=10_000)
    problem = bottoms("6.000", "6.020", "6.040", "6.060", B4=worn)
    assert decided(problem)["B4"].kind == "cut"
    priced = Problem(
        problem.pieces, problem.lines, limits=INCH, prices=Prices(4_000, new_cents=90_000)
    )
    told = decided(priced)
    assert told["B4"].kind == "replace"
    assert codes(told["B4"]) == ["must_worn", "cheaper_new"]
    plan = solve_regrind(priced).plan
    assert plan is not None
    assert plan.aims.cents == 10_000
    assert plan.baseline.aims.cents == 16_000


def test_the_cost_is_the_sum_of_its_parts() -> None:
    worn = roll("B1", "6.000", worn="0.013", life_cents_per_mm=Fraction(1_000))
    spent = roll("A", "5.705", drawn="6.000", worn="0.013", new_cents=70_000)
    prices = Prices(4_000, Fraction(5_000), new_cents=90_000)
    plan = solve_regrind(Problem((worn, spent), limits=INCH, prices=prices)).plan
    assert plan is not None
    (step,) = (each for each in plan.how if each.what == "cost")
    assert dict(step.inputs) == {
        "fixed_cents": 4_000, "amounts_cents": 6_000 * 0.762, "new_cents": 70_000,
        "new_life_cents": 0,
    }  # fmt: skip
    assert step.value == round(sum(step.inputs.values())) == round(plan.aims.cents)  # type: ignore[arg-type]


def test_what_was_never_measured_is_listed_and_whether_it_matters() -> None:
    never = Piece("B1", (Diameter("drive", inch("6.000"), inch("6.000"), inch("5.7")),))
    far = bottoms("", "6.020", B1=never, B2=roll("B2", "6.020"))
    plan = solve_regrind(far).plan
    assert plan is not None
    assert [(each.piece, each.what, each.changes) for each in plan.unmeasured] == [
        ("B1", "drive diameter", False)
    ]
    near = bottoms("", "6.020", B1=never, B2=roll("B2", "6.020", worn="0.008"))
    plan = solve_regrind(near).plan
    assert plan is not None
    assert [each.changes for each in plan.unmeasured] == [True]


def test_other_sets_that_share_a_piece_are_kept_and_named() -> None:
    """B1 also runs before C2 in another set, where it is equal now; C2 is not in the plan."""
    shared = roll("B1", "6.000", worn="0.013", other_sets=("1480-A",), may_replace=False)
    after = Piece("C0", roll("C0", "6.000").diameters, in_plan=False)
    passes = tuple(
        LinePass(n, n, bottom=ShaftRun((name,))) for n, name in enumerate(("C0", "B1"), 1)
    )
    lines = (Line("1480-A", "M2", passes, is_other=True),)
    solved = solve_regrind(Problem((shared, after), lines, limits=INCH))
    assert solved.status == "infeasible"
    told = [each.code for each in solved.conflicts[0].requirements]
    assert told == ["must_worn", "not_replaced", "not_in_plan", "keep_step"]
    alone = solve_regrind(Problem((shared,), limits=INCH)).plan
    assert alone is not None
    assert alone.other_sets == ("1480-A",)


def test_every_figure_can_be_recomputed_from_how() -> None:
    told = solve_regrind(
        bottoms("6.000", "6.020", "6.040", B3=roll("B3", "6.040", worn="0.018", angle=30.0))
    ).plan
    assert told is not None
    seen = set()
    for step in told.how:
        given = step.inputs
        if step.what.startswith("stock on diameter"):
            seen.add("stock")
            wanted = stock_nm(given["depth_nm"], given["allowance_nm"], given["angle_degrees"])  # type: ignore[arg-type]
            assert step.value == wanted
        if step.what.endswith("diameter afterwards"):
            seen.add("after")
            assert step.value == given["before_nm"] - given["amount_nm"]  # type: ignore[operator]
        if step.what.endswith("regrinds left"):
            seen.add("left")
            assert step.value == given["room_nm"] // given["usual_stock_nm"]  # type: ignore[operator]
        if "step at equal rpm" in step.what:
            seen.add("speed")
            assert step.value == given["after_nm"] - given["before_nm"]  # type: ignore[operator]
    assert seen == {"stock", "after", "left", "speed"}


def test_a_roll_is_left_where_the_worst_would_have_cut_it() -> None:
    plan = solve_regrind(
        bottoms("6.000", "6.020", "6.040", "6.060", B1=roll("B1", "6.000", worn="0.013"))
    ).plan
    assert plan is not None
    assert [each.kind for each in plan.decisions] == ["cut", "leave", "leave", "leave"]
    assert plan.baseline.aims.worked == 4
    assert plan.baseline.amount_nm == 30 * MIL


def test_asked_to_stop_it_says_so() -> None:
    spent = roll("B1", "5.705", drawn="6.000", worn="0.013")
    many = bottoms(*["6.000"] * 6, B1=spent)
    priced = Problem(many.pieces, many.lines, limits=INCH, prices=Prices(4_000, new_cents=9_000))
    solved = solve_regrind(priced, should_stop=lambda: True)
    assert solved.status in ("ok", "stopped")
    assert solved.plan is None or solved.plan.is_proven == (solved.status == "ok")


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Diameter("drive", 0),
        lambda: WearPoint("root", 1, 91.0),
        lambda: Piece(""),
        lambda: Piece("A", (Diameter("drive", 5), Diameter("drive", 6))),
        lambda: Pin("A", "cut_to"),
        lambda: Pin("A", "leave", 5),
        lambda: Pin("A", "face", 5),
        lambda: Limits(step_nm=0),
        lambda: Prices(-1),
        lambda: Keyway(10, 0, 11),
        lambda: Problem((Piece("A"), Piece("A"))),
        lambda: Problem((Piece("A"),), contours=(("A", "B"),)),
        lambda: LinePass(1, ratio=Fraction(0)),
    ],
)
def test_bad_input_is_refused_at_birth(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"."):
        wrong()  # type: ignore[operator]
