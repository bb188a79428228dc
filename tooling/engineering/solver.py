"""HiGHS, set up for the worker and ``compute``: one thread, and not a word on standard output."""

from __future__ import annotations

import highspy


class Solver(highspy.Highs):
    """HiGHS without its banner, which it prints as soon as its callbacks are switched on."""

    def enableCallbacks(self) -> None:  # noqa: N802 (its name in highspy)
        self.setOptionValue("output_flag", False)
        self.setOptionValue("threads", 1)
        super().enableCallbacks()
