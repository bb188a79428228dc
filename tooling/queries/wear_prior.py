"""What was learned about wear, as the engine takes it, and the shop's rules for forecasts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tooling.engineering.wear import Prior, Rules
from tooling.models import WearPool
from tooling.queries.settings import setting_values

EVERYTHING = "everything"
"""The key of the row that holds what all pools share."""
RULES = ("wear_confidence", "wear_own_readings", "guard_band", "wear_off_line")


@dataclass(frozen=True)
class Learned:
    """The prior, and the row of each pool by its key."""

    prior: Prior
    pools: Mapping[str, int]


def learned() -> Learned:
    """What was learned last; what is known from memory where nothing was. One query."""
    rows = {
        key: (pk, numbers)
        for pk, key, numbers in WearPool.objects.order_by("key").values_list("pk", "key", "numbers")
    }
    shared = rows.pop(EVERYTHING, None)
    told = dict(shared[1]) if shared else Prior().as_dict()
    told["pools"] = {key: numbers for key, (_pk, numbers) in rows.items()}
    return Learned(Prior.from_dict(told), {key: pk for key, (pk, _numbers) in rows.items()})


def factor_of(strip_class: str) -> float:
    """What a class of strip wears against cold rolled, as learned last. One query."""
    numbers = WearPool.objects.filter(key=EVERYTHING).values_list("numbers", flat=True).first()
    prior = Prior.from_dict({**numbers, "pools": {}}) if numbers else Prior()
    return prior.factor(strip_class)


def rules() -> Rules:
    """The shop's. One query."""
    given = setting_values(list(RULES))
    return Rules(
        confidence=given["wear_confidence"] / 100,
        own_readings=int(given["wear_own_readings"]),
        guard_k=float(given["guard_band"]),
        off_line=float(given["wear_off_line"]),
    )
