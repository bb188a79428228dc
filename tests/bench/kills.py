"""Kills the server in the middle of scans, again and again: what was acknowledged is on disk once.

Senders post batches and keep each until it is answered, as devices do; the server's whole process
group gets SIGKILL at a random moment with at least five requests under way; it is started again
and everybody sends again what was not answered. In the end each answer is compared with the
ledger.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
SENDERS = 8
LEAST_IN_FLIGHT = 5
ANSWERED_FIRST = 12
GIVES_UP_S = 60.0


@dataclass(frozen=True)
class Target:
    """What may be scanned: codes of pieces and places, a bin, and whose token sends."""

    pieces: list[str]
    places: list[str]
    bin: str
    token: str


@dataclass
class Report:
    """What the senders saw. ``answers``: the first answer to each scan; ``sent``: all that left."""

    began_at: datetime = field(default_factory=lambda: datetime.now(UTC))
    kills: int = 0
    in_flight: list[int] = field(default_factory=list)
    sent: dict[str, dict[str, Any]] = field(default_factory=dict)
    answers: dict[str, str] = field(default_factory=dict)
    repeated: int = 0
    problems: list[str] = field(default_factory=list)


class Server:
    """Forks servers on one port; ``environment`` names the database."""

    def __init__(self, environment: dict[str, str]) -> None:
        self.port = _free_port()
        self.group = 0
        self.forks = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.forked"], cwd=ROOT, env=environment, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        assert self._said() == "loaded"

    def _said(self) -> str:
        assert self.forks.stdout is not None
        return self.forks.stdout.readline().strip()

    def start(self) -> None:
        """Raises AssertionError when it does not answer."""
        assert self.forks.stdin is not None
        self.forks.stdin.write(f"{self.port}\n")
        self.forks.stdin.flush()
        self.group = int(self._said())
        until = time.monotonic() + GIVES_UP_S
        while not _answers(self.port):
            assert time.monotonic() < until, "the server did not answer"
            threading.Event().wait(0.01)

    def signal(self, number: int) -> None:
        """To master and workers at once."""
        os.killpg(self.group, number)

    def kill(self) -> None:
        self.signal(signal.SIGKILL)
        until = time.monotonic() + GIVES_UP_S
        while _is_alive(self.group) or _answers(self.port):
            assert time.monotonic() < until, "the server outlived SIGKILL"
            threading.Event().wait(0.005)

    def end(self) -> None:
        if self.group and _is_alive(self.group):
            self.kill()
        with self.forks:
            assert self.forks.stdin is not None
            self.forks.stdin.close()


@contextmanager
def serving(environment: dict[str, str]) -> Iterator[Server]:
    server = Server(environment)
    try:
        yield server
    finally:
        server.end()


class Senders:
    """Eight devices that scan as fast as they are answered."""

    def __init__(self, port: int, target: Target, seed: int, report: Report) -> None:
        self.port, self.target, self.seed, self.report = port, target, seed, report
        self.waiting: list[dict[str, Any] | None] = [None] * SENDERS
        self.under_way = 0
        self.lock = threading.Lock()

    @contextmanager
    def sending(self, turn: int) -> Iterator[None]:
        """Each first sends again what was not answered, then new scans until the block ends."""
        self.stopped = threading.Event()
        threads = [
            threading.Thread(target=self._send, args=(number, turn)) for number in range(SENDERS)
        ]
        for thread in threads:
            thread.start()
        try:
            yield
        finally:
            self.stopped.set()
            for thread in threads:
                thread.join()

    def wait_until_answered(self, scans: int) -> None:
        """So many answers more than now."""
        until, enough = time.monotonic() + GIVES_UP_S, len(self.report.answers) + scans
        while len(self.report.answers) < enough and not self.report.problems:
            assert time.monotonic() < until, "the server answers too slowly"
            threading.Event().wait(0.002)

    def wait_until_under_way(self) -> int:
        """How many requests are under way, once there are enough."""
        until = time.monotonic() + GIVES_UP_S
        while (now := self.under_way) < LEAST_IN_FLIGHT:
            assert time.monotonic() < until, "too few requests were under way"
        return now

    def _send(self, number: int, turn: int) -> None:
        dice = random.Random(f"{self.seed} {number} {turn}")
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            while not self.stopped.is_set() or self.waiting[number] is not None:
                self.waiting[number] = self.waiting[number] or self._new_batch(number, dice)
                self._post(line, number)
        except (OSError, http.client.HTTPException):
            pass  # the server was killed: what was sent waits for the next one
        finally:
            line.close()

    def _new_batch(self, number: int, dice: random.Random) -> dict[str, Any]:
        scans = [self._scan(dice) for _n in range(dice.randint(1, 4))]
        with self.lock:
            self.report.sent |= {scan["id"]: scan for scan in scans}
        return {"device": f"sender {number}", "scans": scans}

    def _scan(self, dice: random.Random) -> dict[str, Any]:
        key = uuid.UUID(int=dice.getrandbits(128), version=4)
        scan = {"id": str(key), "happened_at": _now(), "to": dice.choice(self.target.places)}
        kind = dice.random()
        if kind < 0.1:
            return {**scan, "code": "no such mark"}
        if kind < 0.3:
            return {**scan, "code": self.target.bin, "quantity": 1}
        return {**scan, "code": dice.choice(self.target.pieces)}

    def _post(self, line: http.client.HTTPConnection, number: int) -> None:
        body = json.dumps({**(self.waiting[number] or {}), "device_now": _now()})
        headers = {
            "Authorization": f"Token {self.target.token}", "Content-Type": "application/json"
        }  # fmt: skip
        line.request("POST", "/api/v1/scans/", body, headers)
        with self.lock:
            self.under_way += 1
        try:
            got = line.getresponse()
            read = got.read()
        finally:
            with self.lock:
                self.under_way -= 1
        if got.status != 200:
            self.report.problems.append(f"{got.status} {read[:200]!r}")
            self.stopped.set()
        else:
            self._keep(json.loads(read)["results"])
        self.waiting[number] = None

    def _keep(self, results: list[dict[str, Any]]) -> None:
        with self.lock:
            for result in results:
                said = "taken" if result["status"] == "repeated" else result["status"]
                self.report.repeated += result["status"] == "repeated"
                if self.report.answers.setdefault(result["id"], said) != said:
                    self.report.problems.append(f"two answers: {result}")


def kill_again_and_again(server: Server, target: Target, *, kills: int, seed: int) -> Report:
    """The report of so many kills, after a last start in which all that waited was answered."""
    report, dice = Report(), random.Random(seed)
    senders = Senders(server.port, target, seed, report)
    for turn in range(kills):
        server.start()
        with senders.sending(turn):
            senders.wait_until_answered(ANSWERED_FIRST)
            threading.Event().wait(dice.uniform(0, 0.1))
            report.in_flight.append(senders.wait_until_under_way())
            server.kill()
        report.kills += 1
    server.start()
    with senders.sending(kills):
        pass
    server.kill()
    return report


@dataclass(frozen=True)
class Compared:
    """Answers against the ledger; every figure but the first two should be nothing."""

    acknowledged: int
    refused: int
    lost: int
    doubled: int
    strange: int
    unanswered: int
    stock_off: int
    differences: int

    @property
    def is_clean(self) -> bool:
        return not any(
            (self.lost, self.doubled, self.strange, self.unanswered, self.stock_off,
             self.differences)
        )  # fmt: skip


def compare(report: Report, target: Target) -> Compared:
    """Each acknowledged scan is in the ledger once, each refused one is kept as refused once, and
    nothing is there that nobody sent; of the bin, each arrival counts one."""
    from tooling.models import Movement, RefusedScan, StockLine  # noqa: PLC0415 (after django)
    from tooling.services.rebuild import differences  # noqa: PLC0415

    rows = Movement.objects.filter(received_at__gte=report.began_at, scan__isnull=False)
    taken = Counter(map(str, rows.values_list("scan", flat=True)))
    others = RefusedScan.objects.filter(received_at__gte=report.began_at)
    refused = Counter(map(str, others.values_list("scan", flat=True)))
    kept = {"taken": taken, "refused": refused}
    lost = [key for key, said in report.answers.items() if not kept[said][key]]
    doubled = [key for rows in (taken, refused) for key, count in rows.items() if count > 1]
    doubled += [key for key in taken if key in refused]
    arrivals = Counter(
        scan["to"] for key, scan in report.sent.items()
        if scan["code"] == target.bin and report.answers.get(key) == "taken"
    )  # fmt: skip
    lines = StockLine.objects.filter(place__code__in=target.places)
    counts = dict(lines.values_list("place__code", "count"))
    return Compared(
        acknowledged=sum(said == "taken" for said in report.answers.values()),
        refused=sum(said == "refused" for said in report.answers.values()),
        lost=len(lost),
        doubled=len(doubled),
        strange=len((set(taken) | set(refused)) - set(report.sent)),
        unanswered=len(set(report.sent) - set(report.answers)),
        stock_off=sum(abs(counts.get(place, 0) - arrivals[place]) for place in target.places),
        differences=len(differences()),
    )


def _now() -> str:
    return datetime.now(UTC).isoformat()


def _is_alive(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
