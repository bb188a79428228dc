"""The settings that a shop may change on screen, with the default each starts from.

A figure stands here only while something uses it. ``source`` says how sure the default is:
P published, C common practice, M from memory, K what the contour leaves no choice about.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from django.utils.translation import gettext_lazy as _

MM = 1_000_000
IN = 25_400_000


class SettingKind(StrEnum):
    """How a setting is written: a length, several lengths, a plain number, or a count."""

    LENGTH = "length"
    LENGTHS = "lengths"
    NUMBER = "number"
    COUNT = "count"


@dataclass(frozen=True)
class Declared:
    """One setting. Lengths are whole nm; ``default_in`` is the default of an inch record.

    Of several lengths ``lengths`` and ``lengths_in`` are the defaults; ``default`` is not used.
    """

    name: str
    label: Any
    kind: SettingKind
    default: int | float
    source: str
    unit: Any = ""
    default_in: int | None = None
    least: float = 0
    most: float = 1e18
    per_mill: bool = False
    per_set: bool = False
    lengths: tuple[int, ...] = ()
    lengths_in: tuple[int, ...] = ()

    def lengths_for(self, unit: str) -> tuple[int, ...]:
        """The default of several lengths for a record drawn in this unit."""
        return self.lengths_in if unit == "in" and self.lengths_in else self.lengths

    def default_for(self, unit: str) -> int | float:
        """The default of a record drawn in this unit."""
        if unit == "in" and self.default_in is not None:
            return self.default_in
        return self.default


def _length(name: str, label: Any, default: int, source: str, **more: Any) -> Declared:
    return Declared(name, label, SettingKind.LENGTH, default, source, most=1_000 * MM, **more)


def _number(name: str, label: Any, default: float, source: str, **more: Any) -> Declared:
    return Declared(name, label, SettingKind.NUMBER, default, source, **more)


def _count(name: str, label: Any, default: int, source: str, **more: Any) -> Declared:
    return Declared(name, label, SettingKind.COUNT, default, source, **more)


LEAVES_MM = tuple(50_000 * n for n in range(1, 21))
"""0.05 to 1.00 mm by 0.05: a usual metric set of twenty leaves; common practice, no source."""
LEAVES_IN = tuple(
    2_540 * n
    for n in (15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120, 130, 140, 150, 160, 170, 180,
              190, 200, 210, 220, 230, 240, 250)
)  # fmt: skip
"""0.0015 to 0.025 in, a usual inch set of 26 leaves; common practice, no source."""

_ALL = (
    _length("wall_at_key_corner_warn", _("Wall at the key corner, warn below"), 6 * MM, "M",
            default_in=IN // 4, per_set=True),
    _length("worn_bore", _("Bore worn beyond its class limit by"), 25_000, "M"),
    _length("usual_stock_per_cut", _("Usual stock per cut, on diameter"), 750_000, "M",
            default_in=762_000),
    _length("clean_up_allowance", _("Regrinds: cut so much below the deepest wear, on radius"),
            50_000, "M", default_in=50_800, per_set=True),
    _length("grinder_step", _("Regrinds: the grinder takes off whole steps of, on diameter"),
            20_000, "M", default_in=25_400, least=1_000, per_set=True),
    _number("flank_by_face", _("Regrinds: faces are cleaned up by facing from an inclination of"),
            75, "K", unit="°", least=30, most=89),
    _count("regrind_horizon", _("Regrinds: wear is forecast so far ahead"), 60, "M",
           unit=_("days"), most=730),
    _number("regrind_replace_above", _("Regrinds: replace where a recut costs more of a new one"),
            60, "M", unit="%", least=1, most=500),
    _count("grinder_pieces_a_week", _("Regrinds: the grinder takes so many pieces a week "
           "(0: as many as come)"), 0, "M", most=100_000),
    _count("owner_answer_days", _("Regrinds: owners answer within"), 7, "M", unit=_("days"),
           most=365),
    _count("lead_orders_least", _("Regrinds: lead time from own orders once there are"), 5, "M",
           unit=_("orders"), least=1, most=1_000),
    _length("inspection_tolerance", _("Received tooling is to print within, each way"), 25_000, "M",
            default_in=25_400),
    _length("gap_window", _("Gaps are set within, each way"), 50_000, "M", default_in=50_800,
            least=1_000, per_mill=True, per_set=True),
    Declared("feeler_leaves", _("Feeler leaves of the shop"), SettingKind.LENGTHS, 50_000, "C",
             least=1_000, most=10 * MM, lengths=LEAVES_MM, lengths_in=LEAVES_IN, per_mill=True),
    _length("guide_window", _("Spacer stacks: guide point to guide plane within, each way"),
            50_000, "P", default_in=50_800, least=1_000, per_mill=True, per_set=True),
    _length("difference_window", _("Spacer stacks: top against bottom within, each way"), 25_000,
            "M", default_in=25_400, least=1_000, per_mill=True, per_set=True),
    _count("shims_per_fill", _("Spacer stacks: shims in one fill, at most"), 2, "C", most=10,
           per_mill=True, per_set=True),
    _length("spacer_tolerance", _("Spacers that were not measured are to drawing within, each way"),
            20_000, "M", default_in=25_400),
    _length("spacer_bore_play", _("A spacer's bore may be larger than its shaft by"), 150_000, "M",
            default_in=152_400, per_mill=True),
    _length("spacer_seat", _("Spacer stacks: a spacer is so much larger outside than its shaft, at "
                             "least, to seat the hub beside it; 0: no limit"), 0, "C",
            default_in=0, per_mill=True, per_set=True),
    _length("make_grid_step", _("Spacers to make: lengths in steps of"), MM, "M",
            default_in=IN // 16, least=10_000),
    _length("make_grid_least", _("Spacers to make: shortest"), 3 * MM, "M", default_in=IN // 8,
            least=10_000),
    _length("make_grid_most", _("Spacers to make: longest"), 150 * MM, "M", default_in=6 * IN,
            least=10_000),
    _number("gap_near_vertical", _("Faces are gapped by spacers from an inclination of"), 80, "C",
            unit="°", least=45, most=90),
    _number("tilt_warn", _("Tilt of two shafts, warn beyond"), 0.03, "M", unit=_("mm per 100 mm"),
            least=0.001, most=10, per_mill=True),
    _number("improbable_reading", _("A reading is asked about beyond so many usual cuts, or so "
                                    "many times as far off as is expected"), 5, "M",
            least=1, most=100),
    _number("ratio_mismatch_warn", _("Ratio mismatch, warn beyond"), 0.10, "M", unit="%",
            most=10, per_mill=True),
    _number("step_warn_least", _("Step to the next pass, warn below, when not drawn"), 0.05, "M",
            unit="%", most=10, per_set=True),
    _number("step_warn_most", _("Step to the next pass, warn above, when not drawn"), 1.0, "M",
            unit="%", most=20, per_set=True),
    _count("regrind_intervals_least",
           _("May not last: pieces alike must have been recut, at least"), 2, "M",
           unit=_("times"), least=1, most=1_000),
    _number("usual_length_share",
            _("May not last: beyond so much of the usual length to a regrind"), 100, "M",
            unit="%", least=10, most=500, per_set=True),
    _number("lift_warn", _("Lifting, say so above"), 15, "M", unit="kg", least=1, most=200),
    _number("lift_two_people", _("Lifting, two people or a hoist above"), 23, "P", unit="kg",
            least=1, most=200),
    _count("scan_context_idle", _("Scanning: the place is forgotten after"), 300, "M",
           unit=_("seconds"), least=10, most=86_400),
    _count("scan_same_label_guard", _("Scanning: the same label is read once within"), 3, "M",
           unit=_("seconds"), most=60),
    _count("shared_tablet_idle", _("Shared tablets: a person is logged out after"), 300, "M",
           unit=_("seconds"), least=30, most=28_800),
    _count("backups_kept", _("Backups kept in the data directory"), 10, "M", unit=_("files"),
           least=1, most=1_000),
    _count("spacer_binding_horizon",
           _("Pooled spacers: their bins are chosen so long before a kit is gathered"), 72, "M",
           unit=_("hours"), most=8_760),
    _count("out_too_long", _("A piece has been out too long after"), 14, "M", unit=_("days"),
           least=1, most=3_650),
    _count("due_back_person", _("Handed to a person: due back after (0: no date)"), 1, "M",
           unit=_("days"), most=3_650),
    _count("due_back_grinder", _("Sent to a grinder: due back after (0: no date)"), 14, "M",
           unit=_("days"), most=3_650),
    _count("due_back_sister", _("Lent to a sister plant: due back after (0: no date)"), 30, "M",
           unit=_("days"), most=3_650),
    _count("due_back_customer", _("Sent to a customer: due back after (0: no date)"), 0, "M",
           unit=_("days"), most=3_650),
    _number("count_often_share", _("Counts: of the places, the most-moved are counted often"), 20,
            "M", unit="%", most=100),
    _number("count_middle_share", _("Counts: of the places, the next are counted now and then"), 30,
            "M", unit="%", most=100),
    _count("count_moves_days", _("Counts: how often things move is judged by the last"), 90, "M",
           unit=_("days"), least=1, most=3_650),
    _count("count_often_days", _("Counts: most-moved places, every"), 30, "M", unit=_("days"),
           least=1, most=3_650),
    _count("count_middle_days", _("Counts: places moved now and then, every"), 91, "M",
           unit=_("days"), least=1, most=3_650),
    _count("count_rest_days", _("Counts: all other places, every"), 365, "M", unit=_("days"),
           least=1, most=3_650),
    _count("dormant_months",
           _("Tooling is dormant when nothing was run, moved for a job or counted for"), 12, "P",
           unit=_("months"), least=1, most=600),
    _count("count_owner_days", _("Counts: an owner's tooling, every"), 365, "P", unit=_("days"),
           least=1, most=3_650),
    _count("mount_check_level",
           _("Mounting, scanned at the mill: 1 the station, 2 each shaft, 3 every roll"), 1, "M",
           least=1, most=3, per_mill=True),
    _number("gap_improbable", _("A gap is asked about beyond so many times its target"), 3, "M",
            least=1.1, most=100),
    _number("strip_improbable", _("Measured strip is asked about beyond so far from the plan"), 15,
            "M", unit=_("percent"), least=1, most=1_000, per_mill=True),
    _count("alignment_days", _("Stations are aligned again after"), 365, "P", unit=_("days"),
           least=1, most=3_650, per_mill=True),
    _count("end_play_days", _("End play of shafts is measured again after"), 30, "P",
           unit=_("days"), least=1, most=3_650, per_mill=True),
    _count("shoulder_check_days", _("Shoulder offsets are measured again after"), 365, "M",
           unit=_("days"), least=1, most=3_650, per_mill=True),
    _number("minutes_per_opened_station", _("Changeover: minutes per opened station, at first"),
            20, "M", unit=_("minutes"), most=600, per_mill=True),
    _count("timed_setups_least",
           _("Changeover: forecast from the mill's own times once it has so many"), 5, "M",
           unit=_("setups"), least=1, most=100, per_mill=True),
    _count("strip_after_trouble",
           _("Changeover: shafts with an incident or build-up in the last run come off whole "
             "(1 yes, 0 no)"), 1, "M", most=1, per_mill=True),
    _count("strip_split_stacks",
           _("Changeover: shafts that carry split pieces come off whole (1 yes, 0 no)"), 0, "M",
           most=1, per_mill=True),
    _count("swap_whole_shafts",
           _("Changeover: a shaft that changes comes off whole, as with plates (1 yes, 0 no)"), 0,
           "M", most=1, per_mill=True),
    _number("weight_stations",
            _("Best order of jobs: weight of an opened station (all four 0: one after the other)"),
            0, "M", most=1_000_000, per_mill=True),
    _number("weight_shafts", _("Best order of jobs: weight of a touched shaft"), 0, "M",
            most=1_000_000, per_mill=True),
    _number("weight_pieces", _("Best order of jobs: weight of a piece handled"), 0, "M",
            most=1_000_000, per_mill=True),
    _number("weight_mass", _("Best order of jobs: weight of a kilogram handled"), 0, "M",
            most=1_000_000, per_mill=True),
    _number("lengths_differ_parts",
            _("Runs: parts and counter differ too much beyond"), 2, "M", unit="%", least=0.1,
            most=100, per_mill=True),
    _number("lengths_differ_coil",
            _("Runs: estimates by the coil differ too much beyond"), 5, "M", unit="%", least=0.1,
            most=100, per_mill=True),
    _number("wear_confidence", _("Wear: confidence of the length that is safe to plan with"), 90,
            "M", unit="%", least=50, most=99.9),
    _count("wear_own_readings",
           _("Wear: values since the cut below which like pieces still lead"), 2, "M", least=1,
           most=100),
    _number("guard_band", _("Conformity: guard band, so many standard uncertainties"), 2, "C",
            least=0.5, most=5),
    _number("wear_off_line",
            _("Wear: a reading breaks from the line beyond so many standard deviations"), 3.5, "M",
            least=1, most=20),
    _number("run_improbable",
            _("Runs: asked about beyond so many times the job's length"), 3, "M", least=1,
            most=1_000, per_mill=True),
)  # fmt: skip

SETTINGS: Mapping[str, Declared] = MappingProxyType({each.name: each for each in _ALL})
"""By name, in the order of the settings page."""

SOURCES: Mapping[str, Any] = MappingProxyType(
    {
        "P": _("published"),
        "C": _("common practice"),
        "M": _("from memory, check it in your shop"),
        "K": _("follows from geometry"),
    }
)
