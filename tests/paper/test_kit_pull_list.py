"""What the query answers of a kit stands on the sheet in the shop's words."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from tests.paper.reading import codes, page_texts
from tooling.paper.kit_pull_list import sheet_of
from tooling.paper.pull_list import pull_list_pdf
from tooling.queries.kit_views import (
    JobView,
    LoadView,
    PositionView,
    PullLine,
    PullList,
    PullStop,
    State,
)

KIT = codes(1, "K")[0]
NOW = datetime(2026, 11, 26, 5, 40, tzinfo=UTC)


def _job() -> JobView:
    return JobView(
        number="J-118", set_number="W24", set_name="panel", variant="right hand", mill="mill 2",
        mill_number="M2", customer="", grade="DX51D", unit="mm", thickness_nm=1_000_000,
        width_nm=300_000_000, coating="", strip_class="galvanised", length_nm=10**12,
        starts_at=NOW, ends_at=NOW, gathers_at=NOW, hours=8.0, state="planned",
    )  # fmt: skip


def _line(**more: Any) -> PullLine:
    told: dict[str, Any] = {
        "place": "Toolroom / B3", "place_code": "P0000012", "code": "R000145X", "mark": "W24-07",
        "drawing": "1408-T2", "kind": "side_roll", "quantity": 1, "mass_kg": 17.0,
        "caution": "heavy", "caution_said": "Heavy: lift with care.", "where": "pass 7, top, 2",
        "peg": "peg 14", "not_yet_seen": False, "note": "",
    }  # fmt: skip
    return PullLine(**{**told, **more})


def _trouble() -> PositionView:
    told: dict[str, Any] = dict.fromkeys(PositionView.__dataclass_fields__)
    told.update(
        id=1, station=9, pass_number=9, shaft="top", order=3, drawing="1409-T3", kind="roll",
        piece="", mark="", state=State.MISSING, reason="No piece of this drawing is free.",
    )  # fmt: skip
    return PositionView(**told)


def _pull(*lines: PullLine, unknown: int = 0) -> PullList:
    stop = PullStop("Toolroom / B3", "P0000012", lines)
    return PullList(
        kit=KIT, version=17, made_at=NOW, job=_job(), copy_letter="A", to_place="cart 7",
        to_place_code="C0000012", header="1 of 3 pieces here", stops=(stop,),
        not_to_fetch=(_trouble(),), pieces=len(lines), kg=17.0, unknown=unknown,
        load=LoadView(17.0, unknown, 500.0, "ok", "The load is 17 kg of 500 kg."),
    )  # fmt: skip


def _text(pull: PullList) -> str:
    return " ".join(page_texts(pull_list_pdf(sheet_of(pull, printed_at=NOW))))


@pytest.mark.parametrize(
    "said",
    [
        "Pull list J-118", "1 of 3 pieces here", "cart 7", "1 piece, 17 kg",
        "W24 panel, right hand, copy A, on mill 2", "The load is 17 kg of 500 kg.",
        "W24-07", "R000145X", "side roll 1408-T2", "pass 7, top, 2 › peg 14",
        "heavy: lift with care", "1409-T3", "No piece of this drawing is free.",
    ],
)  # fmt: skip
def test_the_sheet_says(said: str) -> None:
    assert said in _text(_pull(_line()))


def test_masses_that_are_not_known_are_counted() -> None:
    assert "1 piece, 17 kg, 1 of unknown mass" in _text(_pull(_line(mass_kg=None), unknown=1))


def test_a_piece_from_paper_is_said_to_be_not_yet_seen() -> None:
    said = _text(_pull(_line(not_yet_seen=True, note="Measure it.")))
    assert "Not yet seen since it was entered from paper. Measure it." in said


def test_a_piece_without_a_mark_goes_by_its_drawing() -> None:
    (stop,) = sheet_of(_pull(_line(mark="")), printed_at=NOW).stops
    assert stop.rows[0].name == "1408-T2"


def test_what_is_light_bears_no_caution() -> None:
    (stop,) = sheet_of(_pull(_line(caution="none")), printed_at=NOW).stops
    assert stop.rows[0].caution == ""
