"""Imports of 5,000 and 50,000 rows through the API: time a row, memory, and scans meanwhile.

A real web server with eight threads, a worker of its own for each import. The scans come at
fixed times, whether the one before was answered or not, so that a wait counts for every scan that
had to wait.
"""

from __future__ import annotations

import http.client
import json
import random
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rest_framework.authtoken.models import Token

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.bench.import_sheets import Sheets, sheets, wrong_sheets
from tests.bench.notice import ROOT, _free_port
from tooling.models import Import, Piece, Place, Task
from tooling.services.rebuild import differences

SMALL, LARGE = 5_000, 50_000
DEVICES = 8
EVERY = 0.4
"""Each device scans so often: twenty scans a second together."""

QUIET_SECONDS = 15
PER_ROW_LIMIT, MEMORY_LIMIT, SCAN_LIMIT_MS = 1.2, 1.3, 200


@dataclass(frozen=True)
class Done:
    """One import: seconds of reading and of applying, and the worker's most memory."""

    rows: int
    reading: float
    applying: float
    most_mb: float

    @property
    def per_row_ms(self) -> float:
        return (self.reading + self.applying) / self.rows * 1000


@dataclass(frozen=True)
class Wait:
    """One scan: when it was due, and how long after that it was answered."""

    due: float
    seconds: float
    taken: bool


def imports(built: Built) -> list[Figure]:
    """Small and large in quiet, large once more while people scan, and one that is all wrong."""
    token, _made = Token.objects.get_or_create(user=built.person)
    shelves = list(Place.objects.filter(kind="shelf").values_list("path_name", flat=True))
    with _server() as port:
        bring = _Door(port, token.key)
        small = bring.whole(sheets(SMALL, 1, shelves), SMALL)
        large = bring.whole(sheets(LARGE, 2, shelves), LARGE)
        wrong_small = bring.wrong(wrong_sheets(SMALL), SMALL)
        wrong_large = bring.wrong(wrong_sheets(LARGE), LARGE)
        quiet, reading, applying = _while_scanning(
            port, token.key, lambda: bring.whole(sheets(LARGE, 3, shelves), LARGE)
        )
    left = len(differences())
    return [
        *_of(small),
        *_of(large),
        Figure(
            f"time a row, {LARGE:,} / {SMALL:,} rows", large.per_row_ms / small.per_row_ms, "×",
            PER_ROW_LIMIT,
        ),
        Figure(
            f"most memory, {LARGE:,} / {SMALL:,} rows", large.most_mb / small.most_mb, "×",
            MEMORY_LIMIT,
        ),
        Figure(f"{LARGE:,} rows, all wrong: reading", wrong_large.reading, "s"),
        Figure(
            f"most memory, all wrong, {LARGE:,} / {SMALL:,} rows",
            wrong_large.most_mb / wrong_small.most_mb, "×", MEMORY_LIMIT,
        ),
        *_of_scans(quiet, reading, applying),
        Figure("verify: differences after the imports", left, "", 0),
    ]  # fmt: skip


def _of(done: Done) -> Iterator[Figure]:
    yield Figure(f"{done.rows:,} rows: reading", done.reading, "s")
    yield Figure(f"{done.rows:,} rows: applying", done.applying, "s")
    yield Figure(f"{done.rows:,} rows: both, a row", done.per_row_ms, "ms")
    yield Figure(f"{done.rows:,} rows: the worker's most memory", done.most_mb, "MB")


def _of_scans(
    quiet: Sequence[Wait], reading: Sequence[Wait], applying: Sequence[Wait]
) -> Iterator[Figure]:
    meanwhile = [*reading, *applying]
    lost = sum(not wait.taken for wait in [*quiet, *meanwhile])
    yield Figure("one scan, p95, before the import", _p95_ms(quiet), "ms")
    yield Figure(
        f"one scan, p95 of {len(meanwhile):,} during the import", _p95_ms(meanwhile), "ms",
        SCAN_LIMIT_MS,
    )  # fmt: skip
    yield Figure(f"one scan, p95 of {len(applying):,} while it is applied", _p95_ms(applying), "ms")
    yield Figure("one scan, the longest", max(w.seconds for w in meanwhile) * 1000, "ms")
    yield Figure("scans that were not taken", lost, "", 0)


def _p95_ms(waits: Sequence[Wait]) -> float:
    ranked = sorted(wait.seconds for wait in waits)
    return ranked[int(0.95 * len(ranked))] * 1000 if ranked else float("inf")


@contextmanager
def _server() -> Iterator[int]:
    port = _free_port()
    server = subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), "serve", "--no-worker", "--port", str(port)],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert server.stdout is not None
        assert any("READY" in line for line in server.stdout), "the server did not start"
        yield port
    finally:
        server.terminate()
        server.wait()


class _Door:
    """The API, with a fresh worker behind it for each import."""

    def __init__(self, port: int, token: str) -> None:
        self._port, self._token = port, token

    def whole(self, brought: Sheets, rows: int) -> Done:
        """Bring the sheets and apply them."""
        with _worker() as most_mb:
            number = self._bring(brought)
            reading = _wait_for(number, "ready")
            self._ask("POST", f"/api/v1/imports/{number}/apply/", b"", "application/json")
            applying = _wait_for(number, "applied")
            return Done(rows, reading, applying, most_mb())

    def wrong(self, brought: Sheets, rows: int) -> Done:
        """Bring sheets that cannot be applied, and ask for the answer."""
        with _worker() as most_mb:
            number = self._bring(brought)
            reading = _wait_for(number, "problems")
            told = self._ask("GET", f"/api/v1/imports/{number}/", b"", "application/json")
            assert told["problems"], told
            return Done(rows, reading, 0.0, most_mb())

    def _bring(self, brought: Sheets) -> int:
        edge = uuid.uuid4().hex
        parts = [
            f'--{edge}\r\nContent-Disposition: form-data; name="files"; filename="{name}.csv"\r\n'
            "Content-Type: text/csv\r\n\r\n".encode()
            + data
            + b"\r\n"
            for name, data in brought.items()
        ]
        body = b"".join(parts) + f"--{edge}--\r\n".encode()
        kind = f"multipart/form-data; boundary={edge}"
        made = self._ask("POST", "/api/v1/imports/", body, kind)
        assert made["state"] == "reading", made
        return int(made["id"])

    def _ask(self, method: str, address: str, body: bytes, kind: str) -> dict[str, Any]:
        link = http.client.HTTPConnection("127.0.0.1", self._port, timeout=120)
        headers = {"Authorization": f"Token {self._token}", "Content-Type": kind}
        link.request(method, address, body, headers)
        answer = link.getresponse()
        told: dict[str, Any] = json.loads(answer.read())
        link.close()
        assert answer.status < 300, told
        return told


@contextmanager
def _worker() -> Iterator[Callable[[], float]]:
    """A worker of one's own; gives what tells the most memory it had."""
    process = subprocess.Popen([sys.executable, str(ROOT / "manage.py"), "work"])
    status = Path(f"/proc/{process.pid}/status")

    def most_mb() -> float:
        lines = status.read_text().splitlines()
        return next(float(each.split()[1]) / 1024 for each in lines if each.startswith("VmHWM"))

    try:
        yield most_mb
    finally:
        process.terminate()
        process.wait()


def _wait_for(number: int, state: str) -> float:
    """Seconds that the worker took to bring the import there."""
    while True:
        task: Task = Import.objects.select_related("task").get(pk=number).task  # type: ignore[assignment]
        if task.finished_at is not None and task.started_at is not None:
            made = Import.objects.get(pk=number)
            assert made.state == state, (made.state, task.state, task.message, made.problems[:3])
            return (task.finished_at - task.started_at).total_seconds()
        threading.Event().wait(0.2)


# Scans ------------------------------------------------------------------------------------------


class _Device(threading.Thread):
    """Scans a random piece to a random shelf at fixed times."""

    def __init__(
        self, turn: int, port: int, token: str, codes: Sequence[str], shelves: Sequence[str]
    ) -> None:
        super().__init__()
        self._port, self._token, self._codes, self._shelves = port, token, codes, shelves
        self._dice = random.Random(turn)
        self._begin = turn * EVERY / DEVICES
        self.over = threading.Event()
        self.waits: list[Wait] = []

    def run(self) -> None:
        device, due = str(uuid.uuid4()), time.monotonic() + self._begin
        link = http.client.HTTPConnection("127.0.0.1", self._port, timeout=60)
        while not self.over.wait(max(0.0, due - time.monotonic())):
            taken = self._scan(link, device)
            self.waits.append(Wait(due, time.monotonic() - due, taken))
            due += EVERY
        link.close()

    def _scan(self, link: http.client.HTTPConnection, device: str) -> bool:
        now = datetime.now(UTC).isoformat()
        scan = {
            "id": str(uuid.uuid4()), "happened_at": now, "how": "scan",
            "to": self._dice.choice(self._shelves), "code": self._dice.choice(self._codes),
        }  # fmt: skip
        body = json.dumps({"device": device, "device_now": now, "scans": [scan]})
        headers = {"Authorization": f"Token {self._token}", "Content-Type": "application/json"}
        link.request("POST", "/api/v1/scans/", body, headers)
        answer = link.getresponse()
        told = json.loads(answer.read())
        return bool(answer.status == 200 and told["results"][0]["status"] == "taken")


def _while_scanning(
    port: int, token: str, work: Callable[[], Done]
) -> tuple[list[Wait], list[Wait], list[Wait]]:
    """The waits of scans before the work, while it reads, and while it applies."""
    codes = list(Piece.objects.filter(kit_positions=None).values_list("code", flat=True)[:20_000])
    shelves = list(Place.objects.filter(kind="shelf").values_list("code", flat=True))
    devices = [_Device(turn, port, token, codes, shelves) for turn in range(DEVICES)]
    for device in devices:
        device.start()
    threading.Event().wait(QUIET_SECONDS)
    begun = time.monotonic()
    done = work()
    ended = time.monotonic()
    for device in devices:
        device.over.set()
    for device in devices:
        device.join()
    waits = sorted((w for device in devices for w in device.waits), key=lambda wait: wait.due)
    applies = ended - done.applying
    return (
        [wait for wait in waits if wait.due < begun],
        [wait for wait in waits if begun <= wait.due < applies],
        [wait for wait in waits if applies <= wait.due <= ended],
    )
