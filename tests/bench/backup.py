"""A backup of the whole shop while somebody scans, and the same shop restored elsewhere."""

from __future__ import annotations

import http.client
import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

from rest_framework.authtoken.models import Token

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.bench.notice import ROOT, _free_port
from tooling.models import Piece, Place

PAUSE = 0.05
QUIET_SECONDS = 10


class Scanner(threading.Thread):
    """One device that scans a random piece to a random shelf, about twenty times a second."""

    def __init__(self, port: int, token: str, codes: list[str], shelves: list[str]) -> None:
        super().__init__()
        self._port, self._token, self._codes, self._shelves = port, token, codes, shelves
        self._over = threading.Event()
        self.waits: list[float] = []
        self.failed = 0

    def run(self) -> None:
        dice, device = random.Random(11), str(uuid.uuid4())
        link = http.client.HTTPConnection("127.0.0.1", self._port, timeout=60)
        while not self._over.is_set():
            began = time.perf_counter()
            self.failed += not self._scan(link, dice, device)
            self.waits.append(time.perf_counter() - began)
            self._over.wait(PAUSE)
        link.close()

    def _scan(self, link: http.client.HTTPConnection, dice: random.Random, device: str) -> bool:
        now = datetime.now(UTC).isoformat()
        scan = {"id": str(uuid.uuid4()), "happened_at": now, "how": "scan",
                "to": dice.choice(self._shelves), "code": dice.choice(self._codes)}  # fmt: skip
        body = json.dumps({"device": device, "device_now": now, "scans": [scan]})
        headers = {"Authorization": f"Token {self._token}", "Content-Type": "application/json"}
        link.request("POST", "/api/v1/scans/", body, headers)
        answer = link.getresponse()
        told = json.loads(answer.read())
        return answer.status == 200 and told["results"][0]["status"] == "taken"

    def end(self) -> None:
        self._over.set()
        self.join()

    def p95_ms(self, since: int, until: int) -> float:
        waits = sorted(self.waits[since:until])
        return waits[int(0.95 * len(waits))] * 1000 if waits else float("inf")


def backup(built: Built) -> list[Figure]:
    """No scan fails while everything is written to one file; the file restores elsewhere."""
    token, _made = Token.objects.get_or_create(user=built.person)
    codes = list(Piece.objects.filter(kit_positions=None).values_list("code", flat=True)[:20_000])
    shelves = list(Place.objects.filter(kind="shelf").values_list("code", flat=True))
    port = _free_port()
    server = subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), "serve", "--no-worker", "--port", str(port)],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    scanner = Scanner(port, token.key, codes, shelves)
    with tempfile.TemporaryDirectory(prefix="rollroom-backup-") as folder:
        path = Path(folder) / "bench.zip"
        try:
            assert server.stdout is not None
            assert any("READY" in line for line in server.stdout), "the server did not start"
            scanner.start()
            threading.Event().wait(QUIET_SECONDS)
            before = len(scanner.waits)
            took, peak_mb = _manage(os.environ.copy(), "backup", str(path))
            until = len(scanner.waits)
            scanner.end()
        finally:
            server.terminate()
            server.wait()
        elsewhere = {**os.environ, "ROLLROOM_DATA_DIR": str(Path(folder) / "elsewhere")}
        elsewhere.pop("DATABASE_URL", None)
        restored, restore_mb = _manage(elsewhere, "restore", str(path))
        size = path.stat().st_size / 1e6
    quiet, during = scanner.p95_ms(0, before), scanner.p95_ms(before, until)
    return [
        Figure("backup while scanning, time", took, "s"),
        Figure("backup, size", size, "MB"),
        Figure("backup, most memory", peak_mb, "MB"),
        Figure(f"scans that failed of {len(scanner.waits):,}", scanner.failed, "", 0),
        Figure("one scan, p95, before the backup", quiet, "ms"),
        Figure("one scan, p95, during the backup", during, "ms"),
        Figure("restore into an empty SQLite, rows compared, verified", restored, "s"),
        Figure("restore, most memory", restore_mb, "MB"),
    ]


def _manage(environment: dict[str, str], *arguments: str) -> tuple[float, float]:
    """Seconds, and the most megabytes, of a command that must end well."""
    began = time.perf_counter()
    command = [sys.executable, str(ROOT / "manage.py"), *arguments]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
    _pid, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, f"{arguments[0]} ended with {process.returncode}"
    return time.perf_counter() - began, usage.ru_maxrss / 1024
