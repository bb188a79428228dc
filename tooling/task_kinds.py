"""Which function does which kind of task."""

from __future__ import annotations

from tooling.tasks import Handler

HANDLERS: dict[str, Handler] = {}
