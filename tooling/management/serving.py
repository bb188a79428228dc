"""Runs the web server with its worker beside it, as in production and in the demo."""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection

ROOT = Path(__file__).resolve().parent.parent.parent
THREADS = 8
PARENT_DIED_SIGNAL = 1


def serve(
    *,
    host: str,
    port: int,
    with_worker: bool = True,
    web_processes: int = 1,
    on_ready: Callable[[str], None],
) -> None:
    """Serve until a signal comes; restarts a worker that died. Raises CommandError when the
    port is taken or the server never answers."""
    _check_port_is_free(host, port)
    with _marked_as_serving():
        _serve(host, port, with_worker, web_processes, on_ready)


def _serve(
    host: str, port: int, with_worker: bool, web_processes: int, on_ready: Callable[[str], None]
) -> None:
    stop = _Stop()
    web = _start(_web_command(host, port, web_processes))
    worker = _start([sys.executable, str(ROOT / "manage.py"), "work"]) if with_worker else None
    address = f"http://{'127.0.0.1' if host == '0.0.0.0' else host}:{port}"
    try:
        _wait_until_it_answers(address, web, stop)
        if not stop.asked:
            on_ready(address)
        while not stop.asked:
            if web.poll() is not None:
                raise CommandError(f"the web server stopped with exit code {web.returncode}")
            if worker is not None and worker.poll() is not None:
                worker = _start([sys.executable, str(ROOT / "manage.py"), "work"])
            stop.wait(0.5)
    finally:
        for process in (worker, web):
            _end(process)


@contextmanager
def _marked_as_serving() -> Iterator[None]:
    """Others on this machine can tell that the data directory is being served."""
    with _mark().open("a") as mark:
        try:
            fcntl.flock(mark, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except OSError as error:
            raise CommandError("a restore is under way in this data directory; wait") from error
        yield


@contextmanager
def nobody_serves() -> Iterator[None]:
    """Keep servers from starting in this data directory; CommandError when one runs already."""
    with _mark().open("a") as mark:
        try:
            fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise CommandError(
                "the server runs in this data directory; stop it, then restore"
            ) from error
        yield


def _mark() -> Path:
    return Path(settings.DATA_DIR) / ".serving"


class _Stop:
    """Set by SIGTERM and SIGINT."""

    def __init__(self) -> None:
        self.asked = False
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._ask)

    def _ask(self, number: int, frame: FrameType | None) -> None:
        self.asked = True

    def wait(self, seconds: float) -> None:
        if not self.asked:
            time.sleep(seconds)


def _web_command(host: str, port: int, processes: int) -> list[str]:
    workers = 1 if connection.vendor == "sqlite" else processes
    return [
        sys.executable, "-m", "gunicorn", "tooling.wsgi:application",
        "--bind", f"{host}:{port}", "--worker-class", "gthread", "--workers", str(workers),
        "--threads", str(THREADS), "--log-level", "warning", "--graceful-timeout", "5",
        "--no-control-socket",
        "--worker-tmp-dir", "/dev/shm" if Path("/dev/shm").is_dir() else "/tmp",
    ]  # fmt: skip


def _start(command: list[str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(command, cwd=ROOT, preexec_fn=_end_with_parent)


def _end_with_parent() -> None:
    """On Linux a child ends when its parent is killed, so nothing is left behind."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(PARENT_DIED_SIGNAL, signal.SIGTERM)


def _end(process: subprocess.Popen[bytes] | None) -> None:
    if process is None or process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(timeout=8)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _check_port_is_free(host: str, port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CommandError(
                f"port {port} on {host} cannot be used ({os.strerror(error.errno or 0)}); "
                "give another with --port"
            ) from error


def _wait_until_it_answers(address: str, web: subprocess.Popen[bytes], stop: _Stop) -> None:
    for _attempt in range(600):
        if stop.asked:
            return
        if web.poll() is not None:
            raise CommandError(f"the web server ended at once (exit code {web.returncode})")
        try:
            with urllib.request.urlopen(f"{address}/healthz", timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            stop.wait(0.1)
    raise CommandError("the web server did not answer within a minute")
