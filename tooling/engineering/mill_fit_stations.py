"""The fit of one pass at one station: centres, ratio, stand, base, flanges, side rolls, joints."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import asin, degrees

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding, Spot
from tooling.engineering.gaps import Centres, check_centres, shaft_centres
from tooling.engineering.how import Step
from tooling.engineering.mill_fit_shafts import inboard_fill
from tooling.engineering.mill_specs import Fitting, PassSpec, RollSpec, ShaftSpec, StationSpec
from tooling.engineering.speeds import DrivePass, DriveRoll, SpeedLimits, check_ratio

GEOMETRY = "geometry"


def check_station(fitting: Fitting, set_pass: PassSpec, station: StationSpec) -> list[Finding]:
    """Every check of a pass at its station that concerns both shafts or the stand."""
    centres = needed_centres(fitting, set_pass)
    return [
        *_check_centres(set_pass, station, centres),
        *_check_ratio(fitting, set_pass, station),
        *_check_stand_and_base(fitting, set_pass, station),
        *_check_flanges(fitting, set_pass, station, centres),
        *_check_side_rolls(fitting, set_pass, station),
        *_check_joints(set_pass, station, centres),
    ]


def needed_centres(fitting: Fitting, set_pass: PassSpec) -> list[Centres] | None:
    """Centres at the strip's thickness, or at both ends of the set's range without a strip.

    Empty where the pass has no gap; None where a diameter or the thickness is not known.
    """
    if not set_pass.has_gap or not (set_pass.on("top") and set_pass.on("bottom")):
        return []
    top, bottom = set_pass.at_gap_point("top"), set_pass.at_gap_point("bottom")
    gaps_nm = _gaps_nm(fitting)
    if top is None or bottom is None or not gaps_nm:
        return None
    unmeasured = tuple(
        name
        for name, roll in (("top_nm", top), ("bottom_nm", bottom))
        if "gap_nm" in roll.unmeasured
    )
    return [
        shaft_centres(
            top_nm=top.gap_nm or 0, bottom_nm=bottom.gap_nm or 0, gap_nm=gap, unmeasured=unmeasured
        )
        for gap in gaps_nm
    ]


def _gaps_nm(fitting: Fitting) -> list[int]:
    if fitting.strip is not None:
        return [fitting.strip.thickness_nm + fitting.strip.allowance_nm]
    ends = (fitting.tool_set.thickness_least_nm, fitting.tool_set.thickness_most_nm)
    return sorted({end for end in ends if end is not None})


def _check_centres(
    set_pass: PassSpec, station: StationSpec, centres: list[Centres] | None
) -> Iterator[Finding]:
    if centres is None:
        yield Finding(
            "vertical_centres", "warn", "gap_point_not_measured",
            _("Pass {pass_number}: the centres are not known; the diameters at the gap point or "
              "the strip's thickness were never entered."),
            {"pass_number": set_pass.number}, station=station.number,
            pass_number=set_pass.number, unmeasured=("gap_nm",),
        )  # fmt: skip
        return
    for each in centres:
        yield check_centres(
            each, least_nm=station.vertical_least_nm, most_nm=station.vertical_most_nm,
            station=station.number, pass_number=set_pass.number,
        )  # fmt: skip


def _check_ratio(fitting: Fitting, set_pass: PassSpec, station: StationSpec) -> Iterator[Finding]:
    if not (set_pass.on("top") and set_pass.on("bottom")):
        return
    top, bottom = (_drive_roll(set_pass, station, which) for which in ("top", "bottom"))
    if top is None or bottom is None:
        missing = tuple(
            f"{which}.drive_diameter_nm"
            for which, roll in (("top", top), ("bottom", bottom))
            if roll is None
        )
        yield Finding(
            "ratio", "warn", "drive_diameter_not_measured",
            _("Pass {pass_number}: its drive diameters were never entered, so the ratio is not "
              "known."),
            {"pass_number": set_pass.number}, station=station.number,
            pass_number=set_pass.number, unmeasured=missing,
        )  # fmt: skip
        return
    limits = fitting.limits
    drive_pass = DrivePass(set_pass.number, top, bottom, station.number, station.ratio)
    finding = check_ratio(drive_pass, SpeedLimits(ratio_warn=limits.ratio_warn))
    yield finding
    if finding.level == "warn" and Fraction(finding.values["percent"]) / 100 > limits.ratio_no:
        yield Finding(
            "ratio", "no", "ratio_of_another_mill",
            _("Pass {pass_number}: the rolls were cut for another gearing than this station's "
              "{ratio}."),
            finding.values, station=station.number, pass_number=set_pass.number,
        )  # fmt: skip


def _drive_roll(set_pass: PassSpec, station: StationSpec, which: str) -> DriveRoll | None:
    """The driving roll of a shaft; where shaft or segment idles, it is not driven."""
    shaft = station.shaft(which)
    rolls = [r for r in set_pass.on(which) if r.drive_diameter_nm]
    roll = set_pass.driving(which) or next(iter(rolls), None)
    if roll is None or roll.drive_diameter_nm is None:
        return None
    return DriveRoll(
        diameter_nm=roll.drive_diameter_nm,
        uncertainty_nm=None if "drive_diameter_nm" in roll.unmeasured else 0,
        driven=not roll.idles and shaft is not None and shaft.drive != "idle",
        rpm_factor=shaft.rpm_factor if shaft else Fraction(1),
    )


def _check_stand_and_base(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec
) -> Iterator[Finding]:
    rooms = [("stand", which, station.stand_clearance_nm) for which in ("top", "bottom")]
    rooms.append(("base", "bottom", fitting.mill.base_clearance_nm))
    for check, which, room_nm in rooms:
        largest = _largest(set_pass, which)
        if largest is None:
            continue
        outside_nm = largest.largest_nm() or 0
        values = {"piece": largest.name, "outside_nm": outside_nm, "room_nm": room_nm}
        where: Spot = {"station": station.number, "pass_number": set_pass.number}
        if room_nm is None:
            yield Finding(
                check, "warn", f"{check}_not_measured",
                _("{piece}: the room for its outside diameter of {outside} was never measured."),
                values, unmeasured=(f"{check}_clearance_nm",), **where,
            )  # fmt: skip
            continue
        fits = outside_nm <= 2 * room_nm
        yield Finding(
            check, "ok" if fits else "no", f"{check}_clear" if fits else f"{check}_touches",
            _("{piece}: outside diameter {outside}, room {room} from the shaft's axis.") if fits
            else _("{piece}: its outside diameter of {outside} does not clear the room of {room} "
                   "from the shaft's axis."),
            values, **where,
            steps=(Step(f"{largest.name}: room to the {check}", "room − D/2", GEOMETRY,
                        {"room_nm": room_nm, "outside_nm": outside_nm},
                        room_nm - outside_nm / 2),),
        )  # fmt: skip


def _largest(set_pass: PassSpec, which: str) -> RollSpec | None:
    rolls = [roll for roll in set_pass.on(which) if roll.largest_nm()]
    return max(rolls, key=lambda roll: roll.largest_nm() or 0, default=None)


def _check_flanges(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec, centres: list[Centres] | None
) -> Iterator[Finding]:
    """A roll against whatever stands opposite: every spacer it overlaps, and the bare shaft."""
    if not centres:
        return
    closest = min(centres, key=lambda each: each.centres)
    for which, other in (("top", "bottom"), ("bottom", "top")):
        opposite = station.shaft(other)
        for roll in set_pass.on(which):
            if roll.kind == "roll" and roll.largest_nm() and opposite is not None:
                yield _check_flange(fitting, set_pass, station, roll, opposite, closest)


def _check_flange(
    fitting: Fitting,
    set_pass: PassSpec,
    station: StationSpec,
    roll: RollSpec,
    opposite: ShaftSpec,
    closest: Centres,
) -> Finding:
    facing = [("shaft", opposite.diameter_nm, True)]
    for spacer in set_pass.on(opposite.which):
        if spacer.kind == "spacer" and spacer.outside_diameter_nm:
            overlap = _overlap(fitting, set_pass, station, roll, spacer)
            if overlap is not False:
                facing.append((spacer.name, spacer.outside_diameter_nm, overlap is True))
    name, facing_nm, sure = max(facing, key=lambda each: each[1])
    outside_nm = roll.largest_nm() or 0
    clear = closest.centres - Fraction(outside_nm + facing_nm, 2)
    step = Step(
        what=f"{roll.name}: clear of {name} opposite",
        formula="C − (D_flange + D_opposite) / 2",
        source=GEOMETRY,
        inputs={
            "centres_nm": closest.centres_nm, "flange_nm": outside_nm, "opposite_nm": facing_nm,
        },
        value=float(clear),
    )  # fmt: skip
    values = {
        "piece": roll.name, "opposite": name, "outside_nm": outside_nm,
        "facing_nm": facing_nm, "clear_nm": int(clear), "over_nm": max(-int(clear), 0),
    }  # fmt: skip
    where: Spot = {"station": station.number, "pass_number": set_pass.number}
    if clear >= 0:
        return Finding(
            "flange", "ok", "flange_clear",
            _("{piece}: {clear} clear of the {opposite} opposite."), values, steps=(step,), **where,
        )  # fmt: skip
    if not sure:
        return Finding(
            "flange", "warn", "flange_may_touch",
            _("{piece} may touch {opposite} opposite by {over}: where they stand along the shafts "
              "was never measured."),
            values, unmeasured=("guide_offset_nm",), steps=(step,), **where,
        )  # fmt: skip
    return Finding(
        "flange", "no", "flange_touches",
        _("{piece} runs into the {opposite} opposite by {over}."), values, steps=(step,), **where,
    )  # fmt: skip


def _overlap(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec, roll: RollSpec, spacer: RollSpec
) -> bool | None:
    """Whether the two overlap along the shafts; None where that cannot be told."""
    first = _span(fitting, set_pass, station, roll)
    second = _span(fitting, set_pass, station, spacer)
    if first is None or second is None:
        return None
    return first[0] < second[1] and second[0] < first[1]


def _span(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec, roll: RollSpec
) -> tuple[int, int] | None:
    """From where to where a piece reaches, measured from the datum plane."""
    shaft, rolls = station.shaft(roll.where), set_pass.on(roll.where)
    if shaft is None or any(each.face_width_nm is None for each in rolls):
        return None
    fill_nm, _step, _missing = inboard_fill(fitting, shaft, rolls)
    if fill_nm is None:
        return None
    before_nm = sum(each.face_width_nm or 0 for each in rolls[: rolls.index(roll)])
    start_nm = shaft.shoulder_offset_nm + fill_nm + before_nm
    return start_nm, start_nm + (roll.face_width_nm or 0)


def _check_side_rolls(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec
) -> Iterator[Finding]:
    side_rolls = set_pass.on("side")
    if not side_rolls:
        return
    where: Spot = {"station": station.number, "pass_number": set_pass.number}
    wanted, there = fitting.tool_set.side_roll_mounting, station.side_roll_mounting
    values = {"wanted": wanted, "there": there, "station": station.number}
    if not wanted or not there:
        missing = "station.side_roll_mounting" if wanted else "set.side_roll_mounting"
        yield Finding(
            "side_roll_mounting", "warn", "mounting_unknown",
            _("Station {station}: how side rolls are mounted here was never entered."), values,
            unmeasured=(missing,), **where,
        )  # fmt: skip
    else:
        same = wanted.casefold().strip() == there.casefold().strip()
        yield Finding(
            "side_roll_mounting", "ok" if same else "no",
            "mounting_same" if same else "mounting_differs",
            _("Station {station} mounts side rolls on {there}.") if same else
            _("The side rolls need {wanted}; station {station} has {there}."),
            values, **where,
        )  # fmt: skip


def _check_joints(
    set_pass: PassSpec, station: StationSpec, centres: list[Centres] | None
) -> Iterator[Finding]:
    """Angle of the universal joint at both ends of the mill's centres and where the pass runs."""
    for shaft in station.shafts:
        if shaft.drive == "joint" and set_pass.on(shaft.which):
            yield _check_joint(set_pass, station, shaft, centres)


def _check_joint(
    set_pass: PassSpec, station: StationSpec, shaft: ShaftSpec, centres: list[Centres] | None
) -> Finding:
    where: Spot = {"station": station.number, "pass_number": set_pass.number}
    ends = [("least", station.vertical_least_nm), ("most", station.vertical_most_nm)]
    known = [(name, end) for name, end in ends if end is not None]
    needed = [("pass", each.centres_nm) for each in centres or []]
    missing = tuple(
        f"{shaft.which}.{name}"
        for name, value in (
            ("joint_length_nm", shaft.joint_length_nm),
            ("joint_most_degrees", shaft.joint_most_degrees),
            ("joint_level_centre_nm", shaft.joint_level_centre_nm),
        )
        if value is None
    ) + tuple(f"vertical_{name}_nm" for name, end in ends if end is None)
    values: dict[str, object] = {"shaft": shaft.which, "most_degrees": shaft.joint_most_degrees}
    length_nm, level_nm = shaft.joint_length_nm, shaft.joint_level_centre_nm
    most = shaft.joint_most_degrees
    if length_nm is None or level_nm is None or most is None or not (known or needed):
        return Finding(
            "joint_angle", "warn", "joint_not_measured",
            _("The universal joint of the {shaft} shaft was never measured."), values,
            unmeasured=missing, **where,
        )  # fmt: skip
    angles = [(n, joint_angle_degrees(c, level_nm, length_nm)) for n, c in known + needed]
    steepest = max(angle for _name, angle in angles)
    steepest_here = max((angle for name, angle in angles if name == "pass"), default=0.0)
    steps = tuple(
        Step(
            what=f"joint angle at the centres of the {name}", formula="asin(|C − C_level| / L)",
            source=GEOMETRY,
            inputs={
                "centres_nm": centre, "level_centre_nm": level_nm, "joint_length_nm": length_nm,
            },
            value=joint_angle_degrees(centre, level_nm, length_nm),
        )
        for name, centre in known + needed
    )  # fmt: skip
    values |= {"degrees": round(steepest, 2)}
    if steepest_here > most:
        return Finding(
            "joint_angle", "no", "joint_too_steep",
            _("The joint of the {shaft} shaft would run at {degrees}°, its most is "
              "{most_degrees}°."),
            values, steps=steps, unmeasured=missing, **where,
        )  # fmt: skip
    if steepest > most:
        return Finding(
            "joint_angle", "warn", "joint_steep_at_end",
            _("The joint of the {shaft} shaft reaches {degrees}° at an end of the centres, its "
              "most is {most_degrees}°; this pass runs within it."),
            values, steps=steps, unmeasured=missing, **where,
        )  # fmt: skip
    return Finding(
        "joint_angle", "ok", "joint_within",
        _("The joint of the {shaft} shaft stays within {most_degrees}° ({degrees}°)."),
        values, steps=steps, unmeasured=missing, **where,
    )  # fmt: skip


def joint_angle_degrees(centres_nm: int, level_nm: int, length_nm: int) -> float:
    """Angle of a joint shaft of a length whose far end is off level by |C − C_level|.

    90 where the offset is longer than the shaft. Source: geometry.
    """
    return degrees(asin(min(1.0, abs(centres_nm - level_nm) / length_nm)))
