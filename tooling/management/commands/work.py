"""``work``: the worker process."""

from __future__ import annotations

import os
import signal
import threading
from typing import Any

from django.core.management.base import BaseCommand
from django.db import close_old_connections

from tooling.task_kinds import HANDLERS
from tooling.tasks import work_forever


class Command(BaseCommand):
    help = "Do background tasks until told to stop."
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        stop = threading.Event()
        parent = os.getppid()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())

        def keep_on() -> bool:
            close_old_connections()
            return not stop.is_set() and os.getppid() == parent

        def pause() -> None:
            stop.wait(0.3)

        work_forever(HANDLERS, keep_on=keep_on, pause=pause)
