"""A finding tells its sentence in the reader's unit and keeps the numbers that decided it."""

from __future__ import annotations

import pytest

from tooling.engineering.findings import Finding, steps_of, worst
from tooling.engineering.how import Step

pytestmark = pytest.mark.one_database


def finding(level: str = "warn", **changes: object) -> Finding:
    words: dict[str, object] = {
        "check": "bore", "level": level, "code": "bore_worn",
        "template": "{piece}: bore {bore}, least {least}",
        "values": {"piece": "R1", "bore_nm": 2_500_000, "least_nm": None},
    }  # fmt: skip
    return Finding(**{**words, **changes})  # type: ignore[arg-type]


def test_lengths_are_written_in_the_readers_unit_and_nothing_as_a_dash() -> None:
    told = finding().text(lambda nm: f"{nm / 1e6} mm")
    assert told == "R1: bore 2.5 mm, least –"


def test_the_json_carries_code_place_and_numbers() -> None:
    told = finding(station=4, pass_number=3, unmeasured=("R1.bore_nm",)).as_dict()
    assert (told["code"], told["station"], told["pass"]) == ("bore_worn", 4, 3)
    assert told["values"] == {"piece": "R1", "bore_nm": 2_500_000, "least_nm": None}
    assert told["unmeasured"] == ["R1.bore_nm"]


def test_the_gravest_level_wins_and_nothing_found_is_ok() -> None:
    assert worst([finding("ok"), finding("no"), finding("warn")]) == "no"
    assert worst([]) == "ok"


def test_steps_are_gathered_in_order() -> None:
    one, two = (Step(w, "f", "s", {}, 0) for w in ("one", "two"))
    assert steps_of([finding(steps=(one,)), finding(), finding(steps=(two,))]) == (one, two)


def test_only_a_no_is_refused_and_no_slot_is_filled_twice() -> None:
    with pytest.raises(ValueError, match="only a"):
        finding("warn", refused=True)
    with pytest.raises(ValueError, match="same slot"):
        finding(values={"bore": 1, "bore_nm": 2})
