"""``compute lift``: mass of a roll and the recommended weight limit of lifting it."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.answers import Answer, Computation
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    NUMBER,
    TEXT,
    length,
    many,
    maybe,
    number,
    obj,
)
from tooling.engineering.handling import Mass, RollBody, caution_for, mass_of
from tooling.engineering.lifting import CONDITIONS, Hands, Lift, LiftAnswer, assess

HANDS = obj(
    ["horizontal_nm", "vertical_nm"],
    horizontal_nm=length("From the ankles to the hands.", least=0),
    vertical_nm=length("From the floor to the hands.", least=0),
    asymmetry_degrees=number("How far the body turns.", most=180),
)
BODY = obj(
    ["outside_nm", "bore_nm", "width_nm"],
    outside_nm=length(),
    bore_nm=length(least=0),
    width_nm=length(),
    material=TEXT,
    keyway_width_nm=length(least=0),
    keyway_depth_nm=length(least=0),
)
INPUT: dict[str, Any] = obj(
    [],
    mass_kg=number("Weighed mass; wins over the body's.", least=0.001, most=100_000),
    body=BODY,
    warn_kg=number("The shop's warning; default 15.", least=0.001),
    two_people_kg=number("The shop's limit for two people or hoist; default 23.", least=0.001),
    lift=obj(
        ["origin", "destination", "lifts_per_minute", "hours", "coupling"],
        origin=HANDS,
        destination=HANDS,
        lifts_per_minute=number(most=1000),
        hours=number(least=0.001, most=24),
        coupling={"enum": ["good", "fair", "poor"]},
        control_at_destination=BOOLEAN,
        conditions=many({"enum": list(CONDITIONS)}, most=len(CONDITIONS)),
        system={"enum": ["metric", "us"]},
    ),
) | {"anyOf": [{"required": ["mass_kg"]}, {"required": ["body"]}]}
LIMIT = obj(
    ["point", "limit_kg", "multipliers"],
    point={"enum": ["origin", "destination"]},
    limit_kg=NUMBER,
    multipliers={"type": "object"},
)
ANSWER = obj(
    ["mass_kg", "how_known", "caution", "limit_kg", "index", "limits", "not_applicable"],
    mass_kg=NUMBER,
    how_known={"enum": ["weighed", "computed", "assumed"]},
    caution={"enum": ["none", "heavy", "two_people"]},
    limit_kg=maybe(NUMBER),
    index=maybe(NUMBER),
    limits=many(LIMIT),
    not_applicable=many(TEXT),
)


def solve(given: dict[str, Any]) -> Answer:
    """Mass and caution; with a lift, limit and index. Infeasible where the equation is silent."""
    mass_kg = given.get("mass_kg")
    mass = mass_of(RollBody(**given["body"]), weighed_kg=mass_kg) if "body" in given else None
    kg = mass.kg if mass else float(mass_kg or 0)
    assessed = _assess(kg, given["lift"]) if "lift" in given else None
    caution = caution_for(
        kg, warn_kg=given.get("warn_kg", 15), two_people_kg=given.get("two_people_kg", 23)
    )
    silent = assessed is not None and bool(assessed.not_applicable)
    return Answer(
        _told(kg, mass, assessed) | {"caution": caution},
        (*((mass.step,) if mass else ()), *(assessed.steps if assessed else ())),
        status="infeasible" if silent else "ok",
    )


def _assess(kg: float, given: dict[str, Any]) -> LiftAnswer:
    words = given | {
        "origin": Hands(**given["origin"]),
        "destination": Hands(**given["destination"]),
        "conditions": frozenset(given.get("conditions", ())),
    }
    return assess(Lift(mass_kg=kg, **words))


def _told(kg: float, mass: Mass | None, assessed: LiftAnswer | None) -> dict[str, Any]:
    limits = assessed.limits if assessed else ()
    return {
        "mass_kg": kg,
        "how_known": mass.how_known if mass else "weighed",
        "limit_kg": assessed.limit_kg if assessed else None,
        "index": assessed.index if assessed else None,
        "limits": [
            {"point": each.point, "limit_kg": each.limit_kg, "multipliers": each.multipliers}
            for each in limits
        ],
        "not_applicable": list(assessed.not_applicable) if assessed else [],
    }


COMPUTATION = Computation(
    "lift",
    "Mass of a roll and the caution beside it; with a lift, the recommended weight limit and "
    "lifting index of the revised NIOSH equation. An index tells a risk, never that a lift is "
    "safe. Status infeasible: the equation does not apply here.",
    INPUT,
    ANSWER,
    solve,
)
