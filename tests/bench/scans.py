"""Scans over the network on a real server: how many, how fast, and what memory they cost.

The load comes from threads of the measuring process on the same machine, which takes its share of
the cores from both sides of each ratio.
"""

from __future__ import annotations

import http.client
import itertools
import json
import os
import random
import statistics
import threading
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rest_framework.authtoken.models import Token

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.bench.kills import Server, serving
from tooling.models import Piece, Place

SUSTAINED_S, STEADY_S, BATCHES_S = 8.0, 20.0, 8.0
SENDERS = 16
DEVICES = 50
QUEUED, LARGEST, USUAL = 10_000, 2_000, 50


@dataclass(frozen=True)
class Shop:
    """What may be scanned: (id, code) of pieces that no kit claims, and of places; whose token."""

    pieces: list[tuple[int, str]]
    places: list[tuple[int, str]]
    token: str


Request = tuple[str, dict[str, str], bytes, int]
"""An address, its headers, a body, and how many scans it carries."""

Makes = Callable[[int], Callable[[], Request]]
"""For a sender's number, what makes its next request."""


def served(built: Built) -> list[Figure]:
    """All figures of scans on a server of its own."""
    token, _made = Token.objects.get_or_create(user=built.person)
    shop = Shop(
        list(Piece.objects.filter(kit_positions=None).values_list("id", "code")[:80_000]),
        list(Place.objects.filter(kind="shelf").values_list("id", "code")),
        token.key,
    )
    settings = {"DJANGO_SETTINGS_MODULE": "tests.bench.served_settings"}
    with serving({**os.environ, **settings}) as server:
        server.start()
        _warm(server, shop)
        return [*_sustained(server, shop), *_steady(server, shop), *_batches(server, shop),
                *_queued(server, shop)]  # fmt: skip


def _warm(server: Server, shop: Shop) -> None:
    for makes in (_any(shop, 1), _bare(shop, 1)):
        _hammer(server.port, makes, senders=SENDERS, seconds=1.0)


def _sustained(server: Server, shop: Shop) -> list[Figure]:
    """In turns, so that whatever else the machine does meets both."""
    rates: dict[str, list[float]] = {"bare": [], "scan": []}
    for _turn in range(3):
        for name, makes in (("bare", _bare(shop, 1)), ("scan", _own(shop, 1, of=SENDERS))):
            rate = _hammer(server.port, makes, senders=SENDERS, seconds=SUSTAINED_S / 3)
            rates[name].append(rate)
    bare, scan = (statistics.median(rates[name]) for name in ("bare", "scan"))
    return [
        Figure("bare view, one row a request", bare, "/s"),
        Figure("scans, one a request, sustained", scan, "/s"),
        Figure("scans / bare view", scan / bare, "×", 0.5, at_least=True),
    ]


def _steady(server: Server, shop: Shop) -> list[Figure]:
    """Fifty devices, each a scan a second at its own beat; the answers' times."""
    took: list[float] = []
    until = time.perf_counter() + STEADY_S

    def beat(number: int) -> None:
        line = _line(server.port)
        make = _own(shop, 1, of=DEVICES)(number)
        due = time.perf_counter() + random.Random(number).random()
        while due < until:
            threading.Event().wait(max(0.0, due - time.perf_counter()))
            began = time.perf_counter()
            line = _send(line, server.port, make())
            took.append((time.perf_counter() - began) * 1000)
            due += 1.0

    _together(beat, DEVICES)
    took.sort()
    return [
        Figure(f"{DEVICES} devices × 1/s, median", took[len(took) // 2], "ms"),
        Figure(f"{DEVICES} devices × 1/s, 95 of 100 within", took[len(took) * 95 // 100], "ms", 50),
        Figure(f"{DEVICES} devices × 1/s, scans answered", len(took), ""),
    ]


def _batches(server: Server, shop: Shop) -> list[Figure]:
    own = _hammer(server.port, _own(shop, 100, of=4), senders=4, seconds=BATCHES_S)
    contrary = _hammer(server.port, _any(shop, 100), senders=4, seconds=BATCHES_S)
    return [
        Figure("scans in batches of 100", own, "/s", 3_000, at_least=True),
        Figure("the same, devices often contradicting one another", contrary, "/s"),
    ]


def _queued(server: Server, shop: Shop) -> list[Figure]:
    """One device that was off line for a month: as it sends, and in the largest batches."""
    figures = []
    for size in (USUAL, LARGEST):
        before = _memory_mb(server.group)
        peak, stop = [before], threading.Event()
        watch = threading.Thread(target=_watch, args=(server.group, peak, stop))
        watch.start()
        line, make = _line(server.port), _own(shop, size, of=1)(0)
        began = time.perf_counter()
        for _batch in range(QUEUED // size):
            line = _send(line, server.port, make())
        took = time.perf_counter() - began
        stop.set()
        watch.join()
        line.close()
        figures += [
            Figure(f"{QUEUED:,} queued, by {size:,}: time", took, "s"),
            Figure(
                f"{QUEUED:,} queued, by {size:,}: memory",
                max(peak) - before,
                "MB",
                50 if size == USUAL else None,
            ),
        ]
    return figures


def _watch(group: int, peak: list[float], stop: threading.Event) -> None:
    while not stop.wait(0.05):
        peak.append(_memory_mb(group))


def _memory_mb(group: int) -> float:
    """What the server's processes hold by themselves or as their share, in all."""
    total = 0
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if os.getpgid(int(folder.name)) != group:
                continue
            said = (folder / "smaps_rollup").read_text()
        except (OSError, ValueError):
            continue
        total += sum(int(line.split()[1]) for line in said.splitlines() if line.startswith("Pss:"))
    return total / 1024


def _hammer(port: int, makes: Makes, *, senders: int, seconds: float) -> float:
    """Scans a second that so many senders get answered, each as fast as it is answered."""
    done = [0] * senders
    until = time.perf_counter() + seconds
    began = time.perf_counter()

    def send(number: int) -> None:
        line, make = _line(port), makes(number)
        while time.perf_counter() < until:
            request = make()
            line = _send(line, port, request)
            done[number] += request[3]
        line.close()

    _together(send, senders)
    return sum(done) / (time.perf_counter() - began)


def _together(act: Callable[[int], None], count: int) -> None:
    problems: list[BaseException] = []

    def run(number: int) -> None:
        try:
            act(number)
        except BaseException as error:
            problems.append(error)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if problems:
        raise problems[0]


def _line(port: int) -> http.client.HTTPConnection:
    return http.client.HTTPConnection("127.0.0.1", port, timeout=60)


def _send(
    line: http.client.HTTPConnection, port: int, request: Request
) -> http.client.HTTPConnection:
    """The answer is read and must be good; gives the connection to go on with."""
    address, headers, body, _scans = request
    try:
        line.request("POST", address, body, headers)
        got = line.getresponse()
    except (http.client.RemoteDisconnected, ConnectionResetError, BrokenPipeError):
        line.close()  # the server ends connections that were quiet; nothing was sent
        line = _line(port)
        line.request("POST", address, body, headers)
        got = line.getresponse()
    said = got.read()
    assert got.status == 200, said[:300]
    assert b"refused" not in said, said[:300]
    return line


def _some(dice: random.Random, pieces: list[tuple[int, str]], size: int) -> list[tuple[int, str]]:
    """Different ones, in a shop that has as many."""
    return dice.sample(pieces, size) if size <= len(pieces) else dice.choices(pieces, k=size)


def _any(shop: Shop, size: int) -> Makes:
    """Any pieces, so that two devices often say otherwise within a moment."""

    def of_sender(number: int) -> Callable[[], Request]:
        dice, device = random.Random(f"{number} {uuid.uuid4()}"), f"device {uuid.uuid4()}"
        return lambda: _said(shop, dice, _some(dice, shop.pieces, size), device)

    return of_sender


def _own(shop: Shop, size: int, *, of: int) -> Makes:
    """The pieces that this of so many devices carries and no other, in turn."""

    def of_sender(number: int) -> Callable[[], Request]:
        dice, device = random.Random(f"{number} {uuid.uuid4()}"), f"device {uuid.uuid4()}"
        mine = shop.pieces[number::of]
        dice.shuffle(mine)
        turn = itertools.cycle(mine)
        return lambda: _said(shop, dice, list(itertools.islice(turn, size)), device)

    return of_sender


def _said(
    shop: Shop, dice: random.Random, pieces: Sequence[tuple[int, str]], device: str
) -> Request:
    """These pieces put at one place, now."""
    headers = {"Authorization": f"Token {shop.token}", "Content-Type": "application/json"}
    now, to = datetime.now(UTC).isoformat(), dice.choice(shop.places)[1]
    scans: list[dict[str, Any]] = [
        {"id": str(uuid.uuid4()), "happened_at": now, "to": to, "code": code}
        for _id, code in pieces
    ]
    said = {"device": device, "device_now": now, "scans": scans}
    return "/api/v1/scans/", headers, json.dumps(said).encode(), len(scans)


def _bare(shop: Shop, size: int) -> Makes:
    """Each sender its own pieces: this view holds no row, so two that write the same piece in one
    moment would leave it where the earlier one says."""

    def of_sender(number: int) -> Callable[[], Request]:
        dice, mine = random.Random(), shop.pieces[number::SENDERS]

        def make() -> Request:
            to = dice.choice(shop.places)[0]
            body = json.dumps([[piece, to] for piece, _code in _some(dice, mine, size)]).encode()
            return "/bare/", {"Content-Type": "application/json"}, body, size

        return make

    return of_sender
