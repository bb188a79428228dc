"""Which function does which kind of task."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from tooling.services import labels
from tooling.tasks import Handler, Run


def draw_labels(run: Run) -> dict[str, Any]:
    """Many labels as one PDF; the result names the stored file."""
    run.progress(0.05, "drawing")
    given = run.given
    file = labels.draw_and_keep(
        at=timezone.now(), codes=given["codes"], size=given["size"], skip=given["skip"]
    )
    run.check()
    return {"file": file.sha256, "count": len(given["codes"])}


HANDLERS: dict[str, Handler] = {"labels": draw_labels}
