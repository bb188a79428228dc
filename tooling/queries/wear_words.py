"""What stands out about a gauge point and what to measure next, in sentences a setter would say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _

SAYS: Mapping[str, Any] = {
    "own": _("its own readings"),
    "estimate": _("pool estimate, no date yet"),
    "pool": _("like pieces only"),
    "nothing": _("nothing to go by"),
}
WITH_EARLIER: Mapping[str, Any] = {
    "estimate": _("pool and its own earlier lives, no date yet"),
    "pool": _("like pieces and its own earlier lives"),
    "nothing": _("its own earlier lives"),
}
"""The same of a roll that was read before its last cut."""
FLAGS: Mapping[str, Any] = {
    "off_line": _("A reading breaks from the line: look at it, it weighs little until then."),
    "after_cut_off": _("The reading before it began to run does not go with the later ones."),
    "grown": _("A reading shows less wear than an earlier one, beyond what gauges leave open."),
    "build_up": _("The newest reading shows growth: build-up is no wear. Clean and measure again."),
    "through": _("Its limit is more likely passed than not."),
    "unlike": _("It wears unlike the like pieces."),
    "ends_apart": _("Its two ends wear apart: misalignment, overload or an unsymmetrical section. "
                    "Find out before anyone recuts."),
}  # fmt: skip
SHORT: Mapping[str, Any] = {
    "off_line": _("a reading off the line"),
    "after_cut_off": _("the first reading is off"),
    "grown": _("growth"),
    "build_up": _("build-up"),
    "through": _("limit likely passed"),
    "unlike": _("unlike the others"),
    "ends_apart": _("ends wear apart"),
}
LOOK: Mapping[str, Any] = {
    "again": _("a reading stands off: clean and measure again"),
    "first": _("it ran and was not read since"),
    "near": _("its limit may be passed soon: a reading would settle it"),
    "other_end": _("the other end has no reading as late"),
    "after_cut": _("nobody read it before it began to run"),
    "narrows": _("one more reading would tell the rate much better"),
    "plating": _("nobody recorded how thick the plating is"),
    "gauge": _("read with a gauge that has no resolution and uncertainty on record"),
}
"""In the order of how much it matters."""
BEFORE_IT_RUNS = _("not read yet: read it before it runs")


def says_word(says: str, earlier: int) -> str:
    """Whose numbers a forecast stands on; ``earlier``: how many lives before the cut speak."""
    return str(WITH_EARLIER.get(says, SAYS[says]) if earlier else SAYS[says])


def to_measure(look: Iterable[str], *, ran: bool, ran_since: bool) -> tuple[str, ...]:
    """The reasons to measure, the weightiest first. ``ran``: anything ran since the cut (or since
    it was new); ``ran_since``: since it was read last. What ran nothing since is not said to wait
    for a reading, and what ran and was read, nobody can read any more as it was before."""
    asked, words = set(look), dict(LOOK)
    if not ran:
        words["after_cut"] = BEFORE_IT_RUNS
    if "first" not in asked or (ran and not ran_since):
        asked.discard("after_cut")
    if not ran_since:
        asked.discard("first")
    return tuple(str(said) for name, said in words.items() if name in asked)


def why(look: Iterable[str], *, ran: bool, ran_since: bool) -> str:
    """The weightiest reason to measure; empty where there is none."""
    return next(iter(to_measure(look, ran=ran, ran_since=ran_since)), "")


def flag_sentences(flags: Iterable[str]) -> tuple[str, ...]:
    asked = set(flags)
    return tuple(str(words) for name, words in FLAGS.items() if name in asked)


def short_flags(flags: Iterable[str]) -> tuple[str, ...]:
    asked = set(flags)
    return tuple(str(words) for name, words in SHORT.items() if name in asked)
