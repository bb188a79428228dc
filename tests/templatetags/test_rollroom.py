"""What templates show: lengths in the person's unit, states as shape and word, tallies."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.template import Context, Template
from django.template.loader import get_template

from tooling.models import Person
from tooling.templatetags.rollroom import STATE_WORDS, beside, mass, place_path

IN = 25_400_000
MM = 1_000_000
# The outside names of the nine states.
STATES = ["here", "to_fetch", "missing", "worn", "may_not_last", "held", "out", "taken"]
STATES += ["does_not_fit"]


def _render(source: str, **context: object) -> str:
    return Template("{% load rollroom %}" + source).render(Context(context))


def _person(unit: str, strip: str = "m") -> Person:
    return Person(username="p", name="P", length_unit=unit, strip_unit=strip)


@pytest.mark.parametrize(
    ("chosen", "nm", "drawn_in", "said"),
    [
        ("drawn", 2 * IN + IN // 2, "in", "2.500 in"),
        ("drawn", 63_500_000, "mm", "63.5 mm"),
        ("mm", 2 * IN + IN // 2, "in", "63.5 mm"),
        ("in", 63_500_000, "mm", "2.500 in"),
        ("in", 100 * MM, "mm", "3.937 in"),  # 100 / 25.4 = 3.93700787…
        ("mm", 158_900_000, "mm", "158.9 mm"),
        ("mm", IN // 64, "in", "0.397 mm"),  # 0.396875 exactly
    ],
)
def test_a_length_is_shown_in_the_unit_of_the_persons_choice(
    chosen: str, nm: int, drawn_in: str, said: str
) -> None:
    shown = _render("{% length nm drawn_in %}", nm=nm, drawn_in=drawn_in, user=_person(chosen))
    assert shown == said


def test_a_length_has_the_decimals_that_its_gauge_gives() -> None:
    assert _render("{% length nm 'mm' 2 %}", nm=158_900_000) == "158.90 mm"


def test_a_length_without_its_unit_is_the_bare_number() -> None:
    user = _person("in")
    assert _render("{% length nm 'mm' unit=False %}", nm=63_500_000, user=user) == "2.500"


def test_a_length_that_nobody_knows_is_a_dash() -> None:
    assert _render("{% length nm 'mm' %}", nm=None) == "–"


@pytest.mark.parametrize(("unit", "said"), [("m", "1\u202f235 m"), ("ft", "4\u202f050 ft")])
def test_strip_is_shown_in_the_persons_unit(unit: str, said: str) -> None:
    nm = 1_234_567 * MM  # 1234.567 m = 4050.4167 ft
    assert _render("{% strip_length nm %}", nm=nm, user=_person("drawn", unit)) == said


@pytest.mark.parametrize(
    ("kg", "said"), [(12.44, "12.4 kg"), (134.6, "135 kg"), (None, "mass not known")]
)
def test_a_mass_has_no_more_figures_than_a_scale(kg: float | None, said: str) -> None:
    assert mass(kg) == said


@pytest.mark.parametrize("state", STATES)
def test_every_state_is_a_shape_and_a_word(state: str) -> None:
    shown = _render("{% state_mark state %}", state=state)
    assert f'href="#state-{state}"' in shown
    assert f"<span>{STATE_WORDS[state]}</span>" in shown


@pytest.mark.parametrize("state", STATES)
def test_every_state_has_its_own_symbol(state: str) -> None:
    symbols = get_template("parts/state_symbols.html").render()
    assert symbols.count(f'id="state-{state}"') == 1


def test_no_two_states_look_alike() -> None:
    symbols = get_template("parts/state_symbols.html").render().split("<symbol ")[1:]
    drawings = {symbol.partition(">")[2] for symbol in symbols}
    assert len(drawings) == len(STATES) == len(STATE_WORDS)


def test_the_place_beside_a_state_is_escaped() -> None:
    assert "&lt;b&gt;" in _render("{% state_mark 'to_fetch' where %}", where="<b>")


def test_a_code_is_a_tally_and_a_link_where_there_is_a_page() -> None:
    assert _render("{% tag 'R4T7K21P' %}") == '<span class="tag">R4T7K21P</span>'
    assert 'href="/pieces/R4T7K21P/"' in _render("{% tag 'R4T7K21P' '/pieces/R4T7K21P/' %}")


def test_a_time_is_exact_in_print() -> None:
    at = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    shown = _render("{% when moment %}", moment=at + timedelta(hours=3), at=at)
    assert '<span class="screen-only">in 3 h</span>' in shown
    assert '<span class="print-only">2026-11-25 12:00</span>' in shown


def test_the_innermost_place_stands_out() -> None:
    shown = place_path("Toolroom / Rack B / <B3>")
    assert "<strong>&lt;B3&gt;</strong>" in shown
    assert shown.count("›") == 2


def test_a_row_with_too_few_cells_is_refused() -> None:
    with pytest.raises(ValueError, match="shorter"):
        beside(["one"], ["first", "second"])


@pytest.mark.parametrize("name", ["today", "scan", "kits", "mills", "pieces", "sets", "shop"])
def test_every_place_has_its_picture(name: str) -> None:
    assert f'id="icon-{name}"' in get_template("parts/icons.html").render()
