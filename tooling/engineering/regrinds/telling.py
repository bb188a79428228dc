"""From amounts to a plan that explains itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import steps_of
from tooling.engineering.how import Step
from tooling.engineering.regrinds.answer import Change, Decision, Kind, Plan, Reason
from tooling.engineering.regrinds.baseline import by_the_worst
from tooling.engineering.regrinds.facts import Facts
from tooling.engineering.regrinds.geometry import left_step, regrinds_left, stock_step
from tooling.engineering.regrinds.least import Amounts, Impossible, Raised, Search, contour_groups
from tooling.engineering.regrinds.lines import tell_line
from tooling.engineering.regrinds.model import LEAST_WHY, Requirement, reason
from tooling.engineering.regrinds.unmeasured import unmeasured
from tooling.engineering.regrinds.weigh import Aims, Weights


@dataclass(frozen=True)
class Chosen:
    """Which pieces are replaced, what comes off each, what it costs, and what nothing beats."""

    new: frozenset[int]
    amounts: Amounts
    reached: Aims
    bound: Aims | None

    @property
    def is_proven(self) -> bool:
        return self.bound == self.reached


def tell(search: Search, weights: Weights, chosen: Chosen, should_stop: Callable[[], bool]) -> Plan:
    """The plan with its reasons, its lines, its savings and what was never measured."""
    model, problem = search.model, search.model.problem
    decisions = tuple(_decision(search, chosen, n) for n in range(len(model.facts)))
    off = dict(zip((p.name for p in problem.pieces), chosen.amounts.off_nm, strict=True))
    lines = tuple(tell_line(problem, line, off) for line in problem.lines)
    changed = {each.piece for each in decisions if each.kind != "leave"}
    others = {
        name for piece in problem.pieces if piece.name in changed for name in piece.other_sets
    }
    others |= {line.name for line in problem.lines if line.is_other
               and any(changed.intersection(one.pieces()) for one in line.passes)}  # fmt: skip
    baseline = by_the_worst(search, weights)
    return Plan(
        decisions=decisions,
        lines=lines,
        aims=chosen.reached,
        bound=chosen.bound,
        is_proven=chosen.is_proven,
        baseline=baseline,
        other_sets=tuple(sorted(others)),
        unmeasured=unmeasured(search, chosen.new, chosen.amounts, should_stop),
        how=tuple(_steps(search, chosen, decisions, weights)) + tuple(
            step for line in lines for step in steps_of(line.findings)),
    )  # fmt: skip


def frees(search: Search, one: Sequence[int]) -> tuple[Reason, ...]:
    """What would free a conflict: a sentence for each requirement that a person can change."""
    told = []
    for at in one:
        each = search.model.requirements[at]
        template = FREES.get(each.kind)
        if each.kind == "must" and each.piece is not None:
            template = FREES_MUST[search.model.facts[each.piece].must]
        if template is not None:
            piece = "" if each.piece is None else search.model.facts[each.piece].piece.name
            told.append(reason(f"free_{each.kind}", template, piece=piece,
                               set=each.line, number=each.pass_number,
                               pieces=each.told.values.get("pieces", "")))  # fmt: skip
    return tuple(told)


FREES_MUST = {
    "named": _("Take back that {piece} is to be cut."),
    "worn": _("Raise the wear limit of {piece}, or clean it and measure it again."),
    "forecast": _("Look ahead fewer days, or clean {piece} and measure it again."),
}
FREES = {
    "pin": _("Take back what you settled for {piece}."),
    "kept": _("Allow {piece} to be replaced."),
    "fixed": _("Take the set of {piece} into the plan."),
    "least": _("Allow a smaller least diameter for {piece}: drawing minimum, wall or case."),
    "narrow": _("Allow a narrower face for {piece}."),
    "unfaced": _("Take a reading at the worn face of {piece}, on a gauge point of its drawing."),
    "step": _("Sign for the step after pass {number} of {set}, or take in more passes."),
    "ratio": _("Allow a larger tolerance on the ratio at pass {number} of {set}."),
    "centres": _("Run pass {number} of {set} on a station whose shafts come closer together."),
    "contour": _(
        "Have {pieces} in the set as rolls of their own, not as segments of one split roll, "
        "and cut each by itself."
    ),
}


def _decision(search: Search, chosen: Chosen, n: int) -> Decision:
    facts, off = search.model.facts[n], chosen.amounts.off_nm[n]
    piece, usual = facts.piece, search.model.problem.limits.usual_stock_nm
    kind: Kind = "leave"
    if n in chosen.new:
        kind = "replace"
    elif off > 0:
        kind = "cut"
    elif facts.is_faced:
        kind = "face"
    faced = kind == "face" or (kind == "cut" and facts.has_flank)
    known = facts.governing is not None
    return Decision(
        piece=piece.name,
        kind=kind,
        amount_nm=off if kind == "cut" else 0,
        reasons=tuple(_reasons(search, chosen, n, kind, faced)),
        diameters=tuple(
            Change(each.name, each.now_nm, each.now_nm - off) for each in piece.diameters
        ),
        least=facts.governing,
        left=regrinds_left(facts.room_nm - off, usual) if known else None,
        left_before=regrinds_left(facts.room_nm, usual) if known else None,
        width_nm=facts.face_nm if faced else 0,
        guide_nm=facts.face_inboard_nm if faced else 0,
    )


def _reasons(search: Search, chosen: Chosen, n: int, kind: Kind, faced: bool) -> Iterator[Reason]:
    model = search.model
    facts, of, off = model.facts[n], model.of_piece[n], chosen.amounts.off_nm[n]
    for name in ("must", "pin", "fixed"):
        if name in of:
            yield model.requirements[of[name]].told
    if kind == "replace":
        yield from _why_new(search, chosen, n)
        return
    if kind == "cut":
        yield from _why_cut(search, chosen, n, off)
    elif kind == "leave" and not of.keys() & {"pin", "fixed"}:
        yield _why_left(facts)
    if faced and facts.face_point is not None:
        point = facts.face_point
        yield reason("to_face", _("Face it: {depth} at {point} stands at {angle}° to the shaft, "
                     "which no diameter cleans up. Its width falls by {face}; its shaft needs so "
                     "much more fill."), depth_nm=point.lost_nm, point=point.name,
                     angle=_degrees(point.angle_degrees), face_nm=facts.face_nm)  # fmt: skip


def _why_cut(search: Search, chosen: Chosen, n: int, off: int) -> Iterator[Reason]:
    facts, step = search.model.facts[n], search.model.step_nm
    raised = chosen.amounts.last[n]
    if (first := _raised_before(search, raised)) is not None:
        yield _because(search, *first)
    if raised.requirement is not None and raised.before is not None:
        yield _because(search, raised.requirement, n, raised.before.piece)
    if off == facts.need * step and facts.stock_point is not None:
        point, worn_nm = facts.stock_point, facts.piece.worn_nm
        if worn_nm:
            yield reason("to_clean_up_worn", _("To clean up {depth} at {point}, {angle}° to the "
                         "shaft: {amount} on diameter, for wear took {worn} off it already."),
                         depth_nm=point.lost_nm, point=point.name, amount_nm=off, worn_nm=worn_nm,
                         angle=_degrees(point.angle_degrees))  # fmt: skip
            return
        yield reason("to_clean_up", _("To clean up {depth} at {point}, {angle}° to the shaft: "
                     "{amount} on diameter."), depth_nm=point.lost_nm, point=point.name,
                     angle=_degrees(point.angle_degrees), amount_nm=off)  # fmt: skip


def _raised_before(search: Search, raised: Raised) -> tuple[int, int, int] | None:
    """Where pieces of one contour raised each other: what first asked for a cut of this one, as
    requirement, this piece and the other; None where only its contour asks."""
    at: Raised | None = raised
    while at is not None and at.requirement is not None and at.before is not None:
        if search.model.requirements[at.requirement].kind != "contour":
            own = at is not raised and at.piece == raised.piece
            return (at.requirement, at.piece, at.before.piece) if own else None
        at = at.before
    return None


def _because(search: Search, at: int, n: int, other: int) -> Reason:
    """Why a piece is cut along with another."""
    model = search.model
    each: Requirement = model.requirements[at]
    name = model.facts[other].piece.name
    if each.kind == "step":
        return reason("to_keep_step", _("To keep step with pass {number} ({piece})."),
                      number=each.other_pass, piece=name, set=each.line)  # fmt: skip
    if each.kind == "ratio":
        return reason("to_keep_ratio", _("To keep the ratio with {piece} at pass {number}."),
                      piece=name, number=each.pass_number, set=each.line)  # fmt: skip
    if each.kind == "contour":
        return reason("to_keep_contour", _("It shares one contour with {piece}."), piece=name)
    return reason("to_stay_below", _("{piece} runs at strip speed at pass {number}; this one may "
                  "not stand above it."), piece=name, number=each.pass_number)  # fmt: skip


def _why_left(facts: Facts) -> Reason:
    if facts.stock_point is None:
        return reason("nothing_worn", _("Nothing is known to be worn off it."))
    return reason("worn_within", _("Worn {depth} at {point}: within its limit, and nothing else "
                  "asks for a cut."), depth_nm=facts.stock_point.lost_nm,
                  point=facts.stock_point.name)  # fmt: skip


def _why_new(search: Search, chosen: Chosen, n: int) -> Iterator[Reason]:
    """Why a piece is not merely cut."""
    model = search.model
    facts, step = model.facts[n], model.step_nm
    if "pin" in model.of_piece[n]:
        return
    if facts.must_face and not facts.can_face:
        yield model.requirements[model.of_piece[n]["narrow"]].told
        return
    if facts.must_diameter and facts.need > facts.cap:
        yield _too_deep(facts, step)
        return
    group = next((g for g in contour_groups(model, chosen.new) if n in g), (n,))
    without = search.least(chosen.new - set(group))
    if isinstance(without, Impossible):
        named = sorted(without.chain()[0])
        end = without.ends[0].piece
        if len(group) > 1 and end in group and end != n:
            yield reason("replaced_together", _("It shares one contour with {piece}, which must be "
                         "replaced."), piece=model.facts[end].piece.name)  # fmt: skip
        elif named:
            yield model.requirements[named[-1]].told
        else:
            yield _too_deep(model.facts[end], step)
    else:
        yield reason(
            "cheaper_new", _("A new one costs less than cutting it and what would follow.")
        )


def _too_deep(facts: Facts, step: int) -> Reason:
    why = str(LEAST_WHY[facts.governing.why]) if facts.governing else "–"
    return reason("too_deep", _("Cleaning it up takes {amount}, more than the {room} left above "
                  "its least diameter ({why}).") if not facts.piece.is_segment else
                  _("Cleaning it up takes {amount}, more than the {room} left above its least "
                    "diameter ({why}): replace the segment."),
                  amount_nm=facts.need * step, room_nm=max(0, facts.room_nm), why=why)  # fmt: skip


def _degrees(angle: float) -> str:
    return f"{angle:g}"


def _steps(
    search: Search, chosen: Chosen, decisions: tuple[Decision, ...], weights: Weights
) -> Iterator[Step]:
    """Each figure that a person may ask about: stock, least, new diameters, regrinds left."""
    model, limits = search.model, search.model.problem.limits
    for n, (facts, each) in enumerate(zip(model.facts, decisions, strict=True)):
        if each.kind in ("cut", "face") and facts.stock_point is not None:
            yield stock_step(facts.stock_point, limits, facts.piece.worn_nm)
        if each.kind == "leave":
            continue
        if each.least is not None:
            yield from each.least.steps
            room = facts.room_nm - chosen.amounts.off_nm[n]
            yield left_step(each.piece, room, limits.usual_stock_nm)
        for change in each.diameters:
            yield Step(
                what=f"{each.piece}: {change.name} diameter afterwards",
                formula="now − amount",
                source="every recorded diameter falls by the amount cut",
                inputs={"before_nm": change.before_nm,
                        "amount_nm": chosen.amounts.off_nm[n]},
                value=change.after_nm,
            )  # fmt: skip
    if weights.has_prices:
        yield _cost_step(search, chosen, weights)


def _cost_step(search: Search, chosen: Chosen, weights: Weights) -> Step:
    """What the plan costs, part by part, in hundredths."""
    model, parts = search.model, dict.fromkeys(("fixed", "amounts", "new", "new_life"), Fraction(0))
    for n, (facts, off) in enumerate(zip(model.facts, chosen.amounts.off_nm, strict=True)):
        price = weights.prices[n]
        if n in chosen.new:
            parts["new"] += price.new
            parts["new_life"] += price.life_per_nm * (off - model.low_nm[n])
        elif off > 0 or facts.is_faced:
            parts["fixed"] += price.cut if off > 0 else price.leave
            parts["amounts"] += price.per_nm * off
    return Step(
        what="cost",
        formula="setting up and facing + amounts · (price + life) + new pieces + their life that "
        "they start without",
        source="the shop's prices",
        inputs={f"{name}_cents": float(value) for name, value in parts.items()},
        value=round(float(chosen.reached.cents)),
        rounding="to a hundredth",
    )
