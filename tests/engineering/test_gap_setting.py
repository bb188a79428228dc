"""How one pass is gapped, worked by hand."""

from __future__ import annotations

import pytest

from tooling.engineering.gap_setting import diameter_at_gap, gap_setting

pytestmark = pytest.mark.one_database

LEAVES = [50_000 * n for n in range(1, 21)]
"""0.05 to 1.00 mm by 0.05: a usual metric set of twenty leaves."""


def test_a_flat_face_is_gapped_by_two_packs_around_the_target() -> None:
    """By hand: 1.23 ± 0.05: GO in 1.18 … 1.23 is 1.20 (0.20 and 1.00), NO-GO 1.25."""
    found = gap_setting(
        gap_nm=1_230_000, window_nm=50_000, leaves_nm=LEAVES,
        top_nm=160_000_000, bottom_nm=150_000_000,
    )  # fmt: skip
    assert found.face.feeler_nm == 1_230_000
    assert found.packs is not None
    assert found.packs.go is not None
    assert found.packs.no_go is not None
    assert found.packs.go.total_nm == 1_200_000
    assert found.packs.no_go.total_nm == 1_250_000
    assert found.centres is not None
    assert found.centres.centres_nm == 156_230_000
    assert [step.what for step in found.steps] == [
        "gap seen on the face", "feeler packs", "vertical shaft centres",
    ]  # fmt: skip


def test_an_inclined_face_is_gapped_by_what_the_feeler_sees_there() -> None:
    """By hand: cos 60° = ½, so 2.00 ± 0.10 is 1.00 ± 0.05 on the face: GO 0.95, NO-GO 1.05; of
    one leaf each only GO, as the NO-GO takes two."""
    found = gap_setting(gap_nm=2_000_000, window_nm=100_000, leaves_nm=LEAVES, degrees=60)
    assert found.face.feeler_nm == 1_000_000
    assert found.packs is not None
    assert found.packs.go is not None
    assert found.packs.no_go is not None
    assert (found.packs.go.total_nm, len(found.packs.go.leaves_nm)) == (950_000, 1)
    assert (found.packs.no_go.total_nm, len(found.packs.no_go.leaves_nm)) == (1_050_000, 2)
    assert found.centres is None


def test_a_near_vertical_face_is_set_by_spacers_and_has_no_packs() -> None:
    found = gap_setting(gap_nm=2_000_000, window_nm=50_000, leaves_nm=LEAVES, degrees=85)
    assert (found.face.method, found.packs) == ("spacers", None)


def test_a_gap_beyond_three_leaves_says_another_way() -> None:
    found = gap_setting(gap_nm=6_000_000, window_nm=50_000, leaves_nm=LEAVES)
    assert found.packs is not None
    assert found.packs.method == "other"


def test_a_shop_without_leaves_and_a_gap_thinner_than_its_window() -> None:
    none = gap_setting(gap_nm=1_000_000, window_nm=50_000, leaves_nm=[])
    assert none.packs is not None
    assert none.packs.method == "other"
    thin = gap_setting(gap_nm=40_000, window_nm=50_000, leaves_nm=[20_000, 60_000])
    assert thin.packs is not None
    assert thin.packs.method == "feelers"


@pytest.mark.parametrize(("gap", "window"), [(0, 1), (-1, 1), (1, 0)])
def test_a_gap_and_its_window_are_open(gap: int, window: int) -> None:
    with pytest.raises(ValueError, match="window"):
        gap_setting(gap_nm=gap, window_nm=window, leaves_nm=LEAVES)


def test_the_gap_diameter_falls_by_what_was_cut_off_another() -> None:
    """By hand: drive 150.0 drawn, 149.2 now: 0.8 gone, so 161.5 at the gap point is 160.7."""
    sizes = [(150_000_000, 149_200_000), (190_000_000, 190_000_000)]
    assert diameter_at_gap(drawn_gap_nm=161_500_000, sizes=sizes) == 160_700_000
    assert diameter_at_gap(drawn_gap_nm=161_500_000, sizes=[(None, 1), *sizes]) == 160_700_000
    assert diameter_at_gap(drawn_gap_nm=161_500_000, sizes=[(1, None)]) is None
    assert diameter_at_gap(drawn_gap_nm=100, sizes=[(300, 200)]) is None
