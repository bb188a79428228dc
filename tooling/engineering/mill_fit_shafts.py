"""The fit of one pass's pieces on one shaft: bore, key, and the room between the ends."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding, Level, Spot
from tooling.engineering.how import Step
from tooling.engineering.keys import key_fit
from tooling.engineering.mill_specs import (
    Fitting,
    MillSpec,
    PassSpec,
    RollSpec,
    SetSpec,
    ShaftSpec,
    SleeveSpec,
    StationSpec,
)

GEOMETRY = "geometry"
Verdict = tuple[Level, str, object, tuple[str, ...], tuple[Step, ...]]
"""Level, code, sentence, what was never measured, steps."""


def check_shaft(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec, which: str
) -> list[Finding]:
    """Every piece's bore and key, and the roll space; nothing where the pass has no piece here."""
    rolls = set_pass.on(which)
    shaft = station.shaft(which)
    if not rolls:
        return []
    if shaft is None:
        values = {"shaft": which, "station": station.number}
        return [
            Finding(
                "shaft", "no", "shaft_lacking", _("Station {station} has no {shaft} shaft."),
                values, station=station.number, pass_number=set_pass.number,
            )
        ]  # fmt: skip
    findings = []
    for roll in rolls:
        findings.append(_check_bore(fitting, set_pass, station, shaft, roll))
        findings.append(_check_key(fitting, set_pass, station, shaft, roll))
    findings += _check_roll_space(fitting, set_pass, station, shaft, rolls)
    return findings


def check_piece(roll: RollSpec, shaft: ShaftSpec) -> tuple[Finding, Finding]:
    """One piece by itself on one shaft: its bore and its key, without sleeves."""
    set_pass, station = PassSpec(0, (roll,)), StationSpec(0, (shaft,))
    alone = Fitting(MillSpec("", (station,)), SetSpec("", (set_pass,)))
    return (
        _check_bore(alone, set_pass, station, shaft, roll),
        _check_key(alone, set_pass, station, shaft, roll),
    )


def _check_bore(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec, shaft: ShaftSpec, roll: RollSpec
) -> Finding:
    where: Spot = {"station": station.number, "pass_number": set_pass.number}
    values: dict[str, object] = {
        "piece": roll.name, "bore_nm": roll.bore_nm, "shaft_nm": shaft.diameter_nm,
    }  # fmt: skip
    if roll.bore_nm is None:
        return Finding(
            "bore", "warn", "bore_not_measured",
            _("{piece}: its bore was never measured; the shaft is {shaft}."), values,
            unmeasured=(f"{roll.name}.bore_nm",), **where,
        )  # fmt: skip
    play_nm = roll.bore_nm - shaft.diameter_nm
    values["play_nm"] = play_nm
    unmeasured = _unmeasured(roll, "bore_nm")
    step = Step(
        what=f"{roll.name}: bore over shaft",
        formula="bore − shaft",
        source=GEOMETRY,
        inputs={"bore_nm": roll.bore_nm, "shaft_nm": shaft.diameter_nm},
        value=play_nm,
        unmeasured=("bore_nm",) if unmeasured else (),
    )
    if play_nm < 0:
        return Finding(
            "bore", "no", "bore_smaller_than_shaft",
            _("{piece}: its bore of {bore} is smaller than the shaft of {shaft}."), values,
            unmeasured=unmeasured, steps=(step,), refused=True, **where,
        )  # fmt: skip
    most_nm = fitting.limits.play_most_nm
    if play_nm <= most_nm:
        return Finding(
            "bore", "ok", "bore_fits", _("{piece}: bore {bore} on shaft {shaft}, play {play}."),
            values, unmeasured=unmeasured, steps=(step,), **where,
        )  # fmt: skip
    made_nm = roll.drawn_bore_nm if roll.drawn_bore_nm is not None else roll.bore_nm
    if made_nm - shaft.diameter_nm <= most_nm:
        return Finding(
            "bore", "warn", "bore_worn",
            _("{piece}: its bore of {bore} is worn, {play} over the shaft of {shaft}. Re-bore and "
              "sleeve it, or use it with a note."),
            values, unmeasured=unmeasured, steps=(step,), **where,
        )  # fmt: skip
    sleeve = _sleeve_for(fitting.sleeves, shaft.diameter_nm, roll.bore_nm, most_nm)
    if sleeve is not None:
        return Finding(
            "bore", "ok", "bore_with_sleeve",
            _("{piece}: bore {bore} on shaft {shaft} with sleeve {sleeve}."),
            {**values, "sleeve": sleeve.name}, unmeasured=unmeasured, steps=(step,), **where,
        )  # fmt: skip
    return Finding(
        "bore", "no", "bore_needs_sleeve",
        _("{piece}: its bore of {bore} is {play} larger than the shaft of {shaft} and no sleeve "
          "fits. Make or find one."),
        values, unmeasured=unmeasured, steps=(step,), **where,
    )  # fmt: skip


def _sleeve_for(
    sleeves: tuple[SleeveSpec, ...], shaft_nm: int, bore_nm: int, most_nm: int
) -> SleeveSpec | None:
    """The first sleeve by name that goes on the shaft and into the bore with allowed play."""
    fitting = [
        sleeve
        for sleeve in sleeves
        if 0 <= sleeve.bore_nm - shaft_nm <= most_nm
        and 0 <= bore_nm - sleeve.outside_diameter_nm <= most_nm
    ]
    return min(fitting, key=lambda sleeve: sleeve.name, default=None)


def _check_key(
    fitting: Fitting, set_pass: PassSpec, station: StationSpec, shaft: ShaftSpec, roll: RollSpec
) -> Finding:
    level, code, text, unmeasured, steps = _judge_key(fitting, shaft, roll)
    values = {
        "piece": roll.name, "keyway_width_nm": roll.keyway_width_nm,
        "keyway_depth_nm": roll.keyway_depth_nm, "key_width_nm": shaft.key_width_nm,
        "key_height_nm": shaft.key_height_nm,
    }  # fmt: skip
    return Finding(
        "key", level, code, text, values, station=station.number,
        pass_number=set_pass.number, unmeasured=unmeasured, steps=steps,
    )  # fmt: skip


def _judge_key(fitting: Fitting, shaft: ShaftSpec, roll: RollSpec) -> Verdict:
    if shaft.key_style == "none":
        return "ok", "no_key", _("{piece}: the shaft has no key."), (), ()
    if shaft.key_style == "pin":
        return (
            "warn", "pin_drive",
            _("{piece}: the shaft drives by a pin; check by hand that the pin finds its hole."),
            (), (),
        )  # fmt: skip
    if not roll.keyway_width_nm:
        return _judge_plain_bore(shaft, roll)
    missing = tuple(
        name
        for name, value in (
            ("shaft.key_width_nm", shaft.key_width_nm),
            ("shaft.key_height_nm", shaft.key_height_nm),
            (f"{roll.name}.keyway_depth_nm", roll.keyway_depth_nm),
        )
        if not value
    )
    if shaft.key_width_nm and roll.keyway_width_nm < shaft.key_width_nm:
        text = _("{piece}: the key of {key_width} is wider than its keyway of {keyway_width}.")
        return "no", "key_too_wide", text, missing, ()
    if not (shaft.key_width_nm and shaft.key_height_nm and roll.keyway_depth_nm):
        text = _("{piece}: key or keyway were never measured.")
        return "warn", "key_not_measured", text, missing, ()
    fit = key_fit(
        key_width_nm=shaft.key_width_nm,
        key_height_nm=shaft.key_height_nm,
        shaft_nm=shaft.diameter_nm,
        keyway_width_nm=roll.keyway_width_nm,
        keyway_depth_nm=roll.keyway_depth_nm,
        bore_nm=max(roll.bore_nm or 0, shaft.diameter_nm),
        loose_beyond_nm=fitting.limits.key_play_most_nm,
    )
    if fit.state == "key too high":
        text = _("{piece}: the key stands {key_height} high, its keyway is only {keyway_depth}.")
        return "no", "key_too_high", text, (), fit.how
    if fit.state == "loose":
        text = _("{piece}: its keyway of {keyway_width} is loose on the key of {key_width}.")
        return "warn", "key_loose", text, (), fit.how
    if shaft.key_style == "two":
        text = _("{piece}: the shaft has two keys; check that the piece has the second keyway.")
        return "warn", "second_key", text, (), fit.how
    text = _("{piece}: keyway {keyway_width} on key {key_width}.")
    return "ok", "key_fits", text, _unmeasured(roll, "keyway_width_nm", "keyway_depth_nm"), fit.how


def _judge_plain_bore(shaft: ShaftSpec, roll: RollSpec) -> Verdict:
    """A plain bore passes a key only when it is clear of it, or when the key is taken out."""
    if shaft.key_height_nm is not None and roll.bore_nm is not None:
        if roll.bore_nm >= shaft.diameter_nm + 2 * shaft.key_height_nm:
            text = _("{piece}: its plain bore is clear of the key.")
            return "ok", "bore_clear_of_key", text, (), ()
        if shaft.key_style == "loose":
            text = _("{piece}: it has no keyway; leave the key out here.")
            return "warn", "keyway_lacking", text, (), ()
        text = _("{piece}: it has no keyway and does not pass the key.")
        return "no", "keyway_lacking", text, (), ()
    text = _("{piece}: whether it passes the key was never measured.")
    return "warn", "key_not_measured", text, (f"{roll.name}.keyway_width_nm",), ()


def _check_roll_space(
    fitting: Fitting,
    set_pass: PassSpec,
    station: StationSpec,
    shaft: ShaftSpec,
    rolls: tuple[RollSpec, ...],
) -> Iterator[Finding]:
    """The pieces with their inboard fill must end within roll space and closing window."""
    where: Spot = {"station": station.number, "pass_number": set_pass.number}
    nameless = tuple(f"{r.name}.face_width_nm" for r in rolls if r.face_width_nm is None)
    total_nm = sum(roll.face_width_nm or 0 for roll in rolls)
    fill_nm, fill_step, fill_missing = inboard_fill(fitting, shaft, rolls)
    inboard_nm = fill_nm or 0
    spare_nm = _spacers_before_guide_nm(rolls)
    if -spare_nm <= inboard_nm < 0:
        yield Finding(
            "roll_space", "warn", "inboard_spacers_too_long",
            _("On the {shaft} shaft the inboard spacers are {over} too long for this mill; take "
              "shorter ones."),
            {"shaft": shaft.which, "fill_nm": inboard_nm, "over_nm": -inboard_nm},
            steps=(fill_step,) if fill_step else (), **where,
        )  # fmt: skip
    elif inboard_nm < 0:
        yield Finding(
            "roll_space", "no", "fill_negative",
            _("On the {shaft} shaft the inboard fill would be {fill}: the rolls reach beyond the "
              "shoulder before their guide point meets the guide plane."),
            {"shaft": shaft.which, "fill_nm": inboard_nm},
            steps=(fill_step,) if fill_step else (), refused=True, **where,
        )  # fmt: skip
        return
    room_nm = shaft.roll_space_nm + (fitting.mill.closing_most_nm or 0)
    left_nm = room_nm - inboard_nm - total_nm
    missing = nameless + fill_missing
    if fitting.mill.closing_most_nm is None:
        missing += ("mill.closing_most_nm",)
    step = Step(
        what=f"pass {set_pass.number}, {shaft.which}: length left for the outboard fill",
        formula="roll space + closing window − inboard fill − Σ face widths",
        source=GEOMETRY,
        inputs={
            "roll_space_nm": shaft.roll_space_nm,
            "closing_most_nm": fitting.mill.closing_most_nm or 0,
            "inboard_fill_nm": inboard_nm,
            "face_widths_nm": total_nm,
        },
        value=left_nm,
    )
    steps = (fill_step, step) if fill_step else (step,)
    values = {
        "shaft": shaft.which, "total_nm": total_nm, "fill_nm": inboard_nm,
        "room_nm": room_nm, "left_nm": left_nm, "over_nm": max(-left_nm, 0),
    }  # fmt: skip
    if left_nm < 0:
        yield Finding(
            "roll_space", "no", "stack_too_long",
            _("On the {shaft} shaft the stack is {over} longer than the room of {room}."),
            values, unmeasured=missing, steps=steps, refused=True, **where,
        )  # fmt: skip
    elif nameless:
        yield Finding(
            "roll_space", "warn", "widths_not_measured",
            _("On the {shaft} shaft {left} would be left, but not every width is known."),
            values, unmeasured=missing, steps=steps, **where,
        )  # fmt: skip
    else:
        yield Finding(
            "roll_space", "ok", "stack_fits",
            _("On the {shaft} shaft {left} is left for the outboard fill."),
            values, unmeasured=missing, steps=steps, **where,
        )  # fmt: skip


def _spacers_before_guide_nm(rolls: tuple[RollSpec, ...]) -> int:
    """Length of the spacers inboard of the guide roll: they can be changed, rolls cannot."""
    guide = next((i for i, roll in enumerate(rolls) if roll.carries_guide_point), 0)
    return sum(r.face_width_nm or 0 for r in rolls[:guide] if r.kind in ("spacer", "shim"))


def inboard_fill(
    fitting: Fitting, shaft: ShaftSpec, rolls: tuple[RollSpec, ...]
) -> tuple[int | None, Step | None, tuple[str, ...]]:
    """Guide plane − shoulder offset − pieces before the guide roll − its guide offset.

    The pieces are taken in order from the shoulder. None, with what was never measured, where an
    input is missing. Source: geometry.
    """
    guide = next((i for i, roll in enumerate(rolls) if roll.carries_guide_point), None)
    if fitting.mill.guide_plane_nm is None:
        return None, None, ("mill.guide_plane_nm",)
    if guide is None:
        return None, None, (f"{rolls[0].name}.guide_offset_nm",)
    before = rolls[:guide]
    missing = tuple(f"{r.name}.face_width_nm" for r in before if r.face_width_nm is None)
    offset_nm = rolls[guide].guide_offset_nm
    if offset_nm is None:
        missing += (f"{rolls[guide].name}.guide_offset_nm",)
    if missing or offset_nm is None:
        return None, None, missing
    before_nm = sum(roll.face_width_nm or 0 for roll in before)
    fill_nm = fitting.mill.guide_plane_nm - shaft.shoulder_offset_nm - before_nm - offset_nm
    step = Step(
        what=f"inboard fill, {shaft.which} shaft",
        formula="guide plane − shoulder offset − pieces before the guide roll − guide offset",
        source=GEOMETRY,
        inputs={
            "guide_plane_nm": fitting.mill.guide_plane_nm,
            "shoulder_offset_nm": shaft.shoulder_offset_nm,
            "before_nm": before_nm,
            "guide_offset_nm": offset_nm,
        },
        value=fill_nm,
        unmeasured=() if shaft.shoulder_measured else ("shoulder_offset_nm",),
    )
    return fill_nm, step, () if shaft.shoulder_measured else ("shaft.shoulder_offset_nm",)


def _unmeasured(roll: RollSpec, *names: str) -> tuple[str, ...]:
    return tuple(f"{roll.name}.{name}" for name in names if name in roll.unmeasured)
