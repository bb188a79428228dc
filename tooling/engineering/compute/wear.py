"""``compute wear``: how worn gauge points are, and how much strip each has left."""

from __future__ import annotations

from math import isfinite
from typing import Any

from tooling.engineering.compute.answers import Answer, Computation
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    INTEGER,
    NUMBER,
    TEXT,
    length,
    many,
    maybe,
    number,
    obj,
)
from tooling.engineering.how import Step
from tooling.engineering.wear import (
    Forecast,
    GaugeRecord,
    History,
    LifeSaid,
    PointSpec,
    Prior,
    ReadingAt,
    Rules,
    Thermal,
    columns,
    ends_of,
    fit_prior,
    forecast_one,
    worth,
)
from tooling.engineering.wear.flags import newest_of

MOST_RUN_NM = 10**18
RUN = {
    "type": "object",
    "description": "Strip by class, nm; cold rolled is the class that counts 1.",
    "additionalProperties": {"type": "integer", "minimum": 0, "maximum": MOST_RUN_NM},
    "maxProperties": 100,
}
READING = obj(
    [],
    run_nm=RUN | {"description": "Strip since the cut when it was read; empty: after the cut."},
    value_nm=length("What the gauge showed.", least=0),
    u_nm=number("Standard uncertainty (k = 1); else worked out from the gauge.", most=1e9),
    gauge=obj(
        [],
        resolution_nm=length(least=0),
        uncertainty_nm=length("As stated, k = 2.", least=0),
    ),
    is_soaked=BOOLEAN | {"description": "It lay until it was within 3 K of 20 °C."},
    temperature_c=number("Of the piece; the value is brought to 20 °C.", least=-30, most=90),
    verdict={"enum": ["fits", "light", "fails"]},
    depth_from_nm=number("A finish grade: the depth is more than this.", most=1e9),
    depth_to_nm=number("And less than this.", most=1e9),
    moment=number("Seconds of any clock: the order of readings at the same strip.", most=1e11),
)
HISTORY = obj(
    ["readings", "run_nm"],
    key=TEXT,
    end={"enum": ["", "inboard", "outboard"]},
    alike=TEXT | {"description": "The pool of like pieces."},
    new_nm=length("Used where no reading has run nothing.", least=0),
    new_within_nm=length("It is so much to size, each way; default 20 µm.", least=0),
    limit_nm=length("The value beyond which parts are bad.", least=0),
    depth_limit_nm=length("Or the most depth lost since the cut."),
    grows=BOOLEAN,
    is_diameter=BOOLEAN,
    axial=BOOLEAN | {"description": "Taken along the shaft, as a width is."},
    face_degrees=number("Inclination of the face to the shaft.", most=90),
    chrome_nm=length("Plated thickness at the cut; 0: plated, not known how thick.", least=0),
    sliding=number("Scales the pool's rate; default 1.", least=1e-3, most=1e3),
    light_share=number(least=0.01, most=0.99),
    template_nm=length(),
    readings=many(READING),
    run_nm=RUN | {"description": "Strip since the cut, by class."},
    ahead_nm=RUN | {"description": "The run whose chance of crossing is asked."},
    earlier=many(
        obj(
            ["log_rate_off", "precision"],
            log_rate_off=number(
                "ln rate of a finished life less the mean of like pieces.", least=-20, most=20
            ),
            precision=number("One over the variance of that.", least=1e-6, most=1e9),
        ),
        most=100,
    ),
)
BY_NAME = {"type": "object", "maxProperties": 10_000}
POOL = obj(
    [],
    log_rate=number("Mean of ln(nm per km).", least=-20, most=30),
    log_rate_sd=number(least=1e-3, most=5),
    log_rate_se=number(most=5),
    odd_share=number(most=0.49),
    odd_times=number(least=1, most=100),
    bedding_nm=number(least=-1e7, most=1e7),
    bedding_sd_nm=number(most=1e7),
    points={"type": "integer", "minimum": 0},
    readings={"type": "integer", "minimum": 0},
)
PRIOR = obj(
    [],
    everything=POOL,
    pools=BY_NAME | {"additionalProperties": POOL},
    factors=BY_NAME | {"additionalProperties": number(least=1e-3, most=1e3)},
    factor_sd=BY_NAME | {"additionalProperties": number(most=5)},
    factor_shared=BY_NAME | {"additionalProperties": number(least=-5, most=5)},
    rate_shared=number(most=5),
    bedding_km=number(least=1e-3, most=1e5),
    late_km=number(least=1e-3, most=1e5),
    late_more=number(least=-0.9, most=10),
    late_sd=number(most=10),
    piece_share=number("What a piece keeps from cut to cut of how it differs.", most=0.99),
    chrome_ratio=number(least=0.01, most=1e3),
    chrome_ratio_sd=number(most=1e3),
    scatter_nm=number(most=1e7),
    odd_readings=number(least=1e-4, most=0.49),
    odd_reading_times=number(least=1, most=1e3),
)
INPUT = obj(
    ["points"],
    points=many(HISTORY),
    pool=many(HISTORY, most=20_000) | {"description": "Lives of like pieces to learn from."},
    prior=PRIOR | {"description": "What was learned before, as the answer gives it."},
    confidence=number("Default 0.9.", least=0.5, most=0.999),
    own_readings={"type": "integer", "minimum": 1, "maximum": 100},
    guard_k=number(least=0.1, most=10),
)
LENGTHS = (
    "left_half_nm", "left_sure_nm", "left_late_nm", "next_low_nm", "next_half_nm", "next_high_nm",
)  # fmt: skip
MAY_BE_NONE = ("chance", "through", "limit_nm")
NUMBERS = ("depth_nm", "depth_u_nm", "rate_nm_per_km", "rate_low", "rate_high", "gain")
NAMES = ("flags", "look", "unmeasured")
POINT = obj(
    ["key", "end", "says", "gives_date", "used_nm", *LENGTHS, *MAY_BE_NONE, *NUMBERS, *NAMES,
     "conformity", "readings"],
    key=TEXT,
    end=TEXT,
    says={"enum": ["own", "estimate", "pool", "nothing"]},
    gives_date=BOOLEAN,
    used_nm=INTEGER,
    conformity={"enum": ["in", "out", "cannot_tell"]},
    readings=many(obj(["off", "weight", "is_off"], off=NUMBER, weight=NUMBER, is_off=BOOLEAN)),
    **{name: maybe(INTEGER) for name in LENGTHS},
    **{name: maybe(NUMBER) for name in MAY_BE_NONE},
    **dict.fromkeys(NUMBERS, NUMBER),
    **{name: {"type": "array", "items": TEXT} for name in NAMES},
)  # fmt: skip
ANSWER = obj(
    ["points", "ends", "prior"],
    points=many(POINT),
    ends=many(
        obj(
            ["key", "inboard_nm_per_km", "outboard_nm_per_km", "apart", "is_apart"],
            key=TEXT,
            inboard_nm_per_km=NUMBER,
            outboard_nm_per_km=NUMBER,
            apart=NUMBER,
            is_apart=BOOLEAN,
        )
    ),
    prior=PRIOR,
)


def solve(given: dict[str, Any]) -> Answer:
    """Learn from the pool, then forecast every point. ``how`` holds the steps of each in turn."""
    prior = Prior.from_dict(given["prior"]) if "prior" in given else Prior()
    if given.get("pool"):
        prior = fit_prior([_history(each)[0] for each in given["pool"]], prior)
    rules = Rules(**{name: given[name] for name in ("confidence", "own_readings", "guard_k")
                     if name in given})  # fmt: skip
    points, steps = [], []
    histories = []
    for each in given["points"]:
        history, before = _history(each)
        found = forecast_one(history, prior, rules)
        histories.append(history)
        points.append(_told(each, found))
        steps += [*before, *found.how]
    answer = {"points": points, "ends": _ends(histories, prior, rules), "prior": prior.as_dict()}
    return Answer(answer, tuple(steps))


def _history(given: dict[str, Any]) -> tuple[History, list[Step]]:
    words = {
        name: value
        for name, value in given.items()
        if name not in ("readings", "run_nm", "ahead_nm", "earlier")
    }
    steps: list[Step] = []
    readings = tuple(_reading(each, steps) for each in given["readings"])
    spec = PointSpec(**words)
    earlier = tuple(LifeSaid(**each) for each in given.get("earlier", ()))
    return History(spec, readings, given["run_nm"], given.get("ahead_nm", {}), earlier), steps


def _reading(given: dict[str, Any], steps: list[Step]) -> ReadingAt:
    plain = ("verdict", "depth_from_nm", "depth_to_nm", "moment")
    words = {name: given[name] for name in plain if name in given}
    if "value_nm" not in given:
        return ReadingAt(given.get("run_nm", {}), **words)
    if "u_nm" in given:
        words |= {"value_nm": given["value_nm"], "u_nm": given["u_nm"]}
    else:
        found = worth(
            given["value_nm"],
            size_nm=given["value_nm"],
            gauge=GaugeRecord(**given.get("gauge", {})),
            thermal=Thermal(given.get("is_soaked"), given.get("temperature_c")),
        )
        steps += found.steps
        words |= {"value_nm": found.value_nm, "u_nm": found.u_nm, "assumed": found.assumed}
    return ReadingAt(given.get("run_nm", {}), **words)


def _told(given: dict[str, Any], found: Forecast) -> dict[str, Any]:
    plain = ("gives_date", "used_nm", "conformity", *LENGTHS, *MAY_BE_NONE, *NUMBERS)
    told = {name: getattr(found, name) for name in plain}
    told |= {name: list(getattr(found, name)) for name in NAMES}
    readings = [
        {"off": each.off, "weight": each.weight, "is_off": each.is_off} for each in found.readings
    ]
    broken = [name for name, value in told.items() if isinstance(value, float) and
              not isfinite(value)]  # fmt: skip
    if broken:
        raise ArithmeticError(f"out of the range of numbers: {', '.join(broken)}")
    return told | {
        "key": given.get("key", ""), "end": given.get("end", ""), "says": str(found.says),
        "readings": readings,
    }  # fmt: skip


def _ends(histories: list[History], prior: Prior, rules: Rules) -> list[dict[str, Any]]:
    cols = columns(histories)
    keys = [str(key) for key in cols.keys]
    return [
        {
            "key": keys[each.inboard],
            "inboard_nm_per_km": each.inboard_rate,
            "outboard_nm_per_km": each.outboard_rate,
            "apart": each.apart,
            "is_apart": each.is_apart,
        }
        for each in ends_of(keys, cols.ends, newest_of(cols, prior), rules)
    ]


COMPUTATION = Computation(
    "wear",
    "Depth lost at gauge points against equivalent strip length, and the length left until the "
    "true depth passes the limit: at even odds (left_half_nm), at the confidence (left_sure_nm), "
    "in nm of cold rolled strip. With a pool of like pieces, what they teach comes first.",
    INPUT,
    ANSWER,
    solve,
)
