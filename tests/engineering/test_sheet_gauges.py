"""Gauge numbers: the typed table agrees with other sources, and needs to know the material."""

import json
from pathlib import Path

import pytest

from tooling.engineering import lengths
from tooling.engineering.tables import sheet_gauges
from tooling.errors import ToolingError

PUBLISHED = json.loads(
    (Path(__file__).parents[2] / "fixtures" / "checks" / "sheet_gauges.json").read_text()
)
TENTH_NM = lengths.NM_PER_IN // 10_000


def by_gauge(row):
    return str(row["gauge"])


@pytest.mark.parametrize("row", PUBLISHED["cold_rolled_nominal"], ids=by_gauge)
def test_steel_agrees_with_published_cold_rolled_nominals(row):
    nm = lengths.gauge_nm(row["gauge"], "cold rolled steel")
    assert abs(nm - round(row["nominal_in"] * lengths.NM_PER_IN)) <= 1


@pytest.mark.parametrize("row", PUBLISHED["galvanised_nominal"], ids=by_gauge)
def test_galvanised_agrees_with_the_published_nominals_to_a_tenth(row):
    table = sheet_gauges.THICKNESS_IN[sheet_gauges.GALVANISED]
    if row["gauge"] in table:
        nm = lengths.gauge_nm(row["gauge"], "galvanized")
        assert abs(nm - row["nominal_in"] * lengths.NM_PER_IN) <= TENTH_NM + 1


@pytest.mark.parametrize("row", PUBLISHED["gauge_weights"], ids=by_gauge)
def test_stainless_agrees_with_weight_over_forty(row):
    # US Standard Gauge: thickness in inches = pounds per square foot / 40
    nm = lengths.gauge_nm(row["gauge"], "stainless 304")
    assert abs(nm - row["lb_per_ft2"] / 40 * lengths.NM_PER_IN) <= TENTH_NM


@pytest.mark.parametrize("row", PUBLISHED["gauge_weights"], ids=by_gauge)
def test_steel_agrees_with_weight_over_41_82(row):
    # Manufacturers' Standard Gauge: thickness in inches = pounds per square foot / 41.82
    nm = lengths.gauge_nm(row["gauge"], "steel")
    assert abs(nm - row["lb_per_ft2"] / 41.82 * lengths.NM_PER_IN) <= TENTH_NM


@pytest.mark.parametrize("gauge", range(7, 31))
def test_aluminium_agrees_with_the_brown_and_sharpe_formula(gauge):
    # t = 0.005 in · 92^((36 − n)/39)
    nm = lengths.gauge_nm(gauge, "aluminium 3003")
    assert abs(nm - 0.005 * 92 ** ((36 - gauge) / 39) * lengths.NM_PER_IN) <= TENTH_NM


@pytest.mark.parametrize("family", sheet_gauges.THICKNESS_IN)
def test_a_higher_gauge_is_thinner(family):
    thicknesses = [float(text) for text in sheet_gauges.THICKNESS_IN[family].values()]
    assert thicknesses == sorted(thicknesses, reverse=True)
    assert len(set(thicknesses)) == len(thicknesses)


@pytest.mark.parametrize("text", ["16 ga", "16ga", "16 gauge", "16 GA.", "16 gage"])
def test_a_gauge_number_is_read_where_the_material_is_known(text):
    # 16 ga steel 0.0598 in (steelmarketupdate.com, ASTM cold-rolled tolerances)
    read = lengths.parse_length(text, unit="mm", material="cold rolled steel")
    assert read == lengths.Length(1_518_920, "in")


@pytest.mark.parametrize("material", [None, "", "brass", "galvalume", "aluminized steel"])
def test_a_gauge_number_without_a_known_material_is_refused(material):
    with pytest.raises(ToolingError) as caught:
        lengths.parse_length("16 ga", unit="in", material=material)
    assert caught.value.code == "gauge_needs_material"


@pytest.mark.parametrize("text", ["40 ga", "6 ga", "16.5 ga", "1,600 ga", "-16 ga", "1/2 ga"])
def test_a_gauge_outside_the_table_is_refused(text):
    with pytest.raises(ToolingError) as caught:
        lengths.parse_length(text, unit="in", material="steel")
    assert caught.value.code == "unknown_gauge"


@pytest.mark.parametrize(
    ("words", "family"),
    [
        ("Galvanised steel G90", sheet_gauges.GALVANISED),
        ("stainless steel", sheet_gauges.STAINLESS),
        ("Aluminum 5052", sheet_gauges.ALUMINIUM),
        ("HSLA 50", sheet_gauges.STEEL),
        ("hot-rolled", sheet_gauges.STEEL),
        ("copper", None),
    ],
)
def test_the_words_for_a_material_find_its_table(words, family):
    assert sheet_gauges.family(words) == family
