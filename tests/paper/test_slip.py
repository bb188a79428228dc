"""The hand-out slip read back by other eyes: every code scans, every sheet says of how many."""

from __future__ import annotations

from datetime import UTC, date, datetime
from uuid import uuid4

import pytest

from tests.paper.reading import codes, page_texts, pages, read
from tooling.errors import ToolingError
from tooling.paper.slip import slip_pdf
from tooling.queries.hand_outs import Slip
from tooling.queries.loans import Loan

AT = datetime(2026, 11, 27, 9, 0, tzinfo=UTC)
PLACE = codes(1, "P")[0]


def a_slip(count: int, *, due: date | None = date(2026, 12, 3), **fields: object) -> Slip:
    """So many rolls at a grinder."""
    loans = tuple(
        Loan(
            id=uuid4(), kind="piece", code=code, mark=f"1472-{n:03d}-T", drawing="1472-T",
            owner="The shop", quantity=1, place="Grinder West", place_code=PLACE,
            place_kind="grinder", place_kind_word="grinder", on_cart="", since=AT, due_on=due,
            reason="", by="Tomas", days_over=0, is_too_long=False,
        )
        for n, code in enumerate(codes(count))
    )  # fmt: skip
    said = {"place": "Grinder West", "place_code": PLACE, "place_kind": "grinder",
            "place_kind_word": "grinder", "loans": loans, "due_on": due, "reason": "recut",
            **fields}  # fmt: skip
    return Slip(**said)  # type: ignore[arg-type]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_code_and_the_place_scan_back(paper) -> None:
    slip = a_slip(22)
    pdf = slip_pdf(slip, shop="Shop", printed_at=AT, paper=paper)
    found = [text for page in pages(pdf, 300) for text in read(page)]
    assert sorted(found) == sorted([PLACE, *(loan.code for loan in slip.loans)])


def test_it_says_to_whom_until_when_why_and_has_lines_to_sign() -> None:
    said = page_texts(slip_pdf(a_slip(1), shop="Brackenforge", printed_at=AT))[0]
    for words in ("Sent to Grinder West", "Brackenforge", "Thu 2026-12-03", "recut", "1 piece",
                  "Handed over by", "Received by", "page 1 of 1", "2026-11-27"):  # fmt: skip
        assert words in said


def test_many_go_onto_several_sheets_and_the_signatures_stay_whole() -> None:
    texts = page_texts(slip_pdf(a_slip(250), shop="Shop", printed_at=AT))
    assert [f"page {n} of {len(texts)}" in text for n, text in enumerate(texts, 1)] == [True] * len(
        texts
    )
    assert ["Received by" in text for text in texts].count(True) == 1
    assert "Back complete, checked by" in texts[-1]


def test_a_line_with_a_day_of_its_own_says_it() -> None:
    said = page_texts(slip_pdf(a_slip(2, due_on=None), shop="Shop", printed_at=AT))[0]
    assert said.count("back Thu 2026-12-03") == 2


def test_a_paper_that_is_none_is_refused() -> None:
    with pytest.raises(ToolingError) as raised:
        slip_pdf(a_slip(1), shop="Shop", printed_at=AT, paper="a9")  # type: ignore[arg-type]
    assert raised.value.code == "unknown_paper"
