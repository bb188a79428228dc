"""Sets judged with what the pieces of an order measure, or are to measure: ratio, progression,
centres and whatever else of the fit to their mills the ordered pieces touch.

What was impossible before the work already, and is nothing of its making, only warns.
"""

from __future__ import annotations

import copy
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from django.utils.translation import gettext as _

from tooling.engineering.findings import Finding
from tooling.engineering.lengths import Unit, say_length
from tooling.engineering.mill_fit import Placed, fit_set_to_mill, place_passes
from tooling.engineering.mill_specs import (
    FitLimits,
    Fitting,
    MillSpec,
    PassSpec,
    RollSpec,
    StationSpec,
)
from tooling.engineering.speeds import DrivePass, DriveRoll, SpeedLimits, check_ratio, check_speeds
from tooling.models import DrawingKind, DrawingRevision, Piece, SetPosition
from tooling.queries.fit_specs import mill_spec, roll_spec, set_spec, strip_spec
from tooling.queries.pieces import size_of
from tooling.queries.release_users import User, Users
from tooling.queries.release_views import Check, DriveRow, SetJudged

Sizes = Mapping[int, Mapping[str, int]]
"""Piece id → dimension → nm."""
SIGNED = ("speed_slack",)
"""What an engineer may sign a reason for; beside impossibilities that practice may vary on."""


@dataclass(frozen=True)
class _Known:
    """Beside a roll's specification: what is drawn, how sure its diameter is, whose piece it is;
    and its root, by which steps are told of a set that knows no drive diameter."""

    piece_id: int | None
    drawn_nm: int | None
    uncertainty_nm: int | None
    root: DriveRoll | None


@dataclass(frozen=True)
class _Line:
    """One user on one mill with some sizes. ``known`` by (pass, shaft, order)."""

    fitting: Fitting
    placed: tuple[Placed, ...]
    known: Mapping[tuple[int, str, int], _Known]
    limits: SpeedLimits


def judge_sets(
    users: Users, *, ordered: Collection[int], before: Sizes, after: Sizes, unit: Unit
) -> tuple[SetJudged, ...]:
    """Each user of the pieces on each of its mills, the worst first. No query."""
    found = [
        _judge(users, user, mill, frozenset(ordered), before, after, unit)
        for user in users.users
        for mill in (user.mills or (None,))
    ]
    levels = {"no": 0, "warn": 1, "ok": 2}
    return tuple(sorted(found, key=lambda each: levels[each.level]))


def _judge(
    users: Users, user: User, mill_id: int | None, ordered: frozenset[int], before: Sizes,
    after: Sizes, unit: Unit,
) -> SetJudged:  # fmt: skip
    old, new = (_line(users, user, mill_id, sizes) for sizes in (before, after))
    touched = _touched(new, ordered)
    was_so = {_key(each) for each in fit_set_to_mill(old.fitting).findings if each.level == "no"}
    mill = users.mills.get(mill_id or 0)
    checks = [*_fit_checks(new, touched, was_so, mill_id, unit), *_speeds(new, touched, unit)]
    return SetJudged(
        set_number=user.tool_set.number,
        set_name=user.tool_set.name,
        who=user.who,
        kit=user.kit,
        mill_number=mill.number if mill else "",
        mill_name=mill.name if mill else "",
        unit=user.tool_set.unit,
        checks=tuple(checks),
        rows=tuple(_rows(old, new, ordered)),
    )


def _line(users: Users, user: User, mill_id: int | None, sizes: Sizes) -> _Line:
    passes: dict[int, list[RollSpec]] = {}
    known: dict[tuple[int, str, int], _Known] = {}
    rows = _own_positions(users, user)
    gaps = {(row.set_pass_id, row.shaft) for row in rows if row.gap_diameter_nm is not None}
    for row in rows:
        drawn = users.revisions.get(row.drawing_id)
        piece_id = user.pieces.get(row.pk)
        piece = _with_sizes(users.pieces.get(piece_id or 0), sizes)
        if drawn is None:
            continue
        has_gap = (row.set_pass_id, row.shaft) in gaps
        spec = roll_spec(row, drawn, piece, gap_is_kept=has_gap)
        if piece is not None and piece.mark:
            spec = replace(spec, name=piece.mark)  # said by its mark, as the plan says it
        passes.setdefault(row.set_pass.number, []).append(spec)
        known[row.set_pass.number, row.shaft, row.order] = _Known(
            piece_id,
            drawn.drive_diameter_nm,
            users.uncertainties.get((piece_id or 0, "drive_diameter")),
            _root(row, drawn, piece, users.uncertainties.get((piece_id or 0, "root_diameter"))),
        )
    fitting = _fitting(users, user, mill_id, passes)
    if mill_id is None:
        passes_alone = fitting.tool_set.passes
        placed = tuple(Placed(each, StationSpec(each.number, ())) for each in passes_alone)
    else:
        placed = tuple(place_passes(fitting)[0])
    return _Line(fitting, placed, known, _limits(users, user, mill_id))


def _root(
    row: SetPosition, drawn: DrawingRevision, piece: Piece | None, uncertainty_nm: int | None
) -> DriveRoll | None:
    """A roll's root as it is beside the one drawn: a cut takes as much off it as off the diameter
    that drives. None where either is not known."""
    now = size_of(piece, "root_diameter") if piece is not None else drawn.root_diameter_nm
    if row.drawing.kind != DrawingKind.ROLL or not now or not drawn.root_diameter_nm:
        return None
    return DriveRoll(now, drawn.root_diameter_nm, uncertainty_nm)


def _own_positions(users: Users, user: User) -> Sequence[SetPosition]:
    """Of a copy those of every variant; of a kit those that it fills."""
    rows = users.positions.get(user.tool_set.pk, ())
    own = [row for row in rows if row.variant_id and row.pk in user.pieces]
    taken = {(row.set_pass_id, row.shaft, row.order) for row in own}
    return [
        row
        for row in rows
        if (row.pk in user.pieces and row.variant_id)
        or (row.variant_id is None and (row.set_pass_id, row.shaft, row.order) not in taken)
    ]


def _with_sizes(piece: Piece | None, sizes: Sizes) -> Piece | None:
    """The piece as if it measured so."""
    if piece is None or piece.pk not in sizes:
        return piece
    other = copy.copy(piece)
    for name, nm in sizes[piece.pk].items():
        setattr(other, f"now_{name}_nm", nm)
    return other


def _fitting(
    users: Users, user: User, mill_id: int | None, passes: Mapping[int, Sequence[RollSpec]]
) -> Fitting:
    charted = users.charted.get((user.tool_set.pk, mill_id or 0), {})
    given = users.given
    steep = given.value("gap_near_vertical", set_id=user.tool_set.pk)
    angles = users.steep.get(user.tool_set.pk, {})
    specs = tuple(
        PassSpec(
            number=number, rolls=tuple(rolls), station=charted.get(number),
            has_gap=angles.get(number, 0) < steep,
        )
        for number, rolls in sorted(passes.items())
    )  # fmt: skip
    mill = users.mills.get(mill_id or 0)
    stations = users.stations.get(mill_id or 0, ())
    ratio_warn = given.value("ratio_mismatch_warn", mill_id=mill_id)
    return Fitting(
        mill=mill_spec(mill, stations) if mill is not None else MillSpec("", ()),
        tool_set=set_spec(user.tool_set, specs),
        strip=strip_spec(user.tool_set),
        sleeves=users.sleeves,
        limits=FitLimits(ratio_warn=Fraction(str(ratio_warn)) / 100),
    )


def _limits(users: Users, user: User, mill_id: int | None) -> SpeedLimits:
    def share(name: str) -> Fraction:
        value = users.given.value(name, mill_id=mill_id, set_id=user.tool_set.pk)
        return Fraction(str(value)) / 100

    return SpeedLimits(
        ratio_warn=share("ratio_mismatch_warn"),
        step_least=share("step_warn_least"),
        step_most=share("step_warn_most"),
    )


def _touched(line: _Line, ordered: frozenset[int]) -> frozenset[int]:
    """Numbers of the passes with an ordered piece."""
    return frozenset(key[0] for key, known in line.known.items() if known.piece_id in ordered)


def _fit_checks(
    line: _Line, touched: frozenset[int], was_so: Collection[object],
    mill_id: int | None, unit: Unit,
) -> Iterator[Check]:  # fmt: skip
    """What the ordered pieces touch; the ratio of their passes even where it is kept."""
    if mill_id is None:
        for each in line.placed:
            if each.set_pass.number in touched:
                finding = check_ratio(_drive_pass(line, each), line.limits)
                if finding.code != "ratio_not_checked":
                    yield _check(finding, unit)
        return
    for finding in fit_set_to_mill(line.fitting).findings:
        if finding.pass_number not in touched:
            continue
        if finding.level == "ok" and finding.check not in ("ratio", "vertical_centres"):
            continue
        if finding.level == "no" and _key(finding) in was_so:
            yield _check(finding, unit, level="warn")
        elif finding.level == "no" or finding.check in SIZED:
            yield _check(finding, unit)


SIZED = ("ratio", "vertical_centres", "flange", "horizontal_centres", "stand", "roll_space")
"""Checks that the size of a piece decides; what else warns is nothing of the work's making."""


def _speeds(line: _Line, touched: frozenset[int], unit: Unit) -> Iterator[Check]:
    """Steps that begin or end at a pass with an ordered piece; elsewhere slack only warns. Of a set
    that knows no drive diameter at all, those of the roots against the drawn ones."""
    drives = any(r.drive_diameter_nm for each in line.placed for r in each.set_pass.rolls)
    passes = [_drive_pass(line, each, by_root=not drives) for each in line.placed]
    words = "{said}" if drives else _("By the roots, no drive diameter is known: {said}")
    for finding in check_speeds(passes, line.limits):
        if finding.check != "progression":
            continue
        near = {finding.values["before"], finding.values["after"]} & touched
        if near or finding.level == "no":
            check = _check(finding, unit, level="" if near else "warn")
            yield replace(check, said=words.format(said=check.said))


def _drive_pass(line: _Line, placed: Placed, *, by_root: bool = False) -> DrivePass:
    station = placed.station
    return DrivePass(
        number=placed.set_pass.number,
        top=_drive_roll(line, placed, "top", by_root),
        bottom=_drive_roll(line, placed, "bottom", by_root),
        station=station.number if station.shafts else None,
        ratio=station.ratio,
    )


def _drive_roll(line: _Line, placed: Placed, which: str, by_root: bool) -> DriveRoll | None:
    shaft = placed.station.shaft(which)
    driven = shaft is None or shaft.drive != "idle"
    rpm_factor = shaft.rpm_factor if shaft else Fraction(1)
    if by_root:
        here = [r for r in placed.set_pass.on(which) if not r.idles]
        roots = [line.known[placed.set_pass.number, which, r.order].root for r in here]
        root = max((r for r in roots if r), key=lambda r: r.drawn_nm or 0, default=None)
        return root and replace(root, driven=driven, rpm_factor=rpm_factor)
    rolls = [r for r in placed.set_pass.on(which) if r.drive_diameter_nm]
    roll = placed.set_pass.driving(which) or next(iter(rolls), None)
    if roll is None or roll.drive_diameter_nm is None:
        return None
    known = line.known[placed.set_pass.number, which, roll.order]
    return DriveRoll(
        diameter_nm=roll.drive_diameter_nm,
        drawn_nm=known.drawn_nm,
        uncertainty_nm=known.uncertainty_nm,
        driven=driven and not roll.idles,
        rpm_factor=rpm_factor,
    )


def _rows(old: _Line, new: _Line, ordered: frozenset[int]) -> Iterator[DriveRow]:
    before = {each.set_pass.number: _drive_pass(old, each) for each in old.placed}
    for each in new.placed:
        number = each.set_pass.number
        was, now = before.get(number), _drive_pass(new, each)
        mine = {
            key[1] for key, known in new.known.items()
            if key[0] == number and known.piece_id in ordered
        }  # fmt: skip
        ratio = now.ratio
        yield DriveRow(
            pass_number=number,
            station=now.station,
            ratio=str(ratio.numerator if ratio.denominator == 1 else round(float(ratio), 4)),
            top_before_nm=was.top.diameter_nm if was and was.top else None,
            top_nm=now.top.diameter_nm if now.top else None,
            bottom_before_nm=was.bottom.diameter_nm if was and was.bottom else None,
            bottom_nm=now.bottom.diameter_nm if now.bottom else None,
            top_is_ordered="top" in mine,
            bottom_is_ordered="bottom" in mine,
        )


def _key(finding: Finding) -> object:
    return (finding.check, finding.code, finding.pass_number, finding.values.get("shaft"))


def _check(finding: Finding, unit: Unit, level: str = "") -> Check:
    return Check(
        code=finding.code,
        level=level or finding.level,
        said=finding.text(lambda nm: say_length(nm, unit)),
        may_sign=not finding.refused if finding.code not in SIGNED else True,
        pass_number=finding.pass_number,
        how=finding.steps,
    )
