"""Runs the web server with its worker beside it, as in production and in the demo."""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import os
import signal
import socket
import ssl
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
from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.queries.certificates import handed_out_file, is_kept, server_file
from tooling.services import certificates

ROOT = Path(__file__).resolve().parent.parent.parent
THREADS = 8
PARENT_DIED_SIGNAL = 1
LOOKS_AT_CERTIFICATE_S = 3600
KEPT_ALIVE_S = 15
"""A connection with HTTPS is dear to make and is kept for the next scan."""


def add_https_options(parser: CommandParser) -> None:
    """``--https`` and ``--no-https``; without either the certificate is used when there is one."""
    choice = parser.add_mutually_exclusive_group()
    choice.add_argument("--https", action="store_true", default=None, dest="https",
                        help="end when no certificate is made yet")  # fmt: skip
    choice.add_argument("--no-https", action="store_false", dest="https", help="plain HTTP")
    parser.add_argument("--plain-port", type=int, default=None, metavar="PORT",
                        help="with HTTPS: where plain HTTP hands out the authority's certificate; "
                             "80 beside 443, else the next port; 0: nowhere")  # fmt: skip


def wants_https(asked: bool | None) -> bool:
    """Raises CommandError when HTTPS is asked for and no certificate is made."""
    if asked and not is_kept():
        raise CommandError("no certificate is made yet; run: python3 manage.py https")
    return is_kept() if asked is None else asked


def serve(
    *,
    host: str,
    port: int,
    with_worker: bool = True,
    web_processes: int = 1,
    https: bool = False,
    plain_port: int | None = None,
    on_ready: Callable[[str], None],
) -> None:
    """Serve until a signal comes; restarts a worker that died, renews the certificate. Raises
    CommandError when the port is taken, a certificate cannot be read or the server never
    answers."""
    _check_port_is_free(host, port)
    plain = _plain_port(host, port, plain_port) if https else 0
    with _marked_as_serving():
        if https:
            _renew_certificate()
        _serve(host, port, with_worker, web_processes, https, plain, on_ready)


def _plain_port(host: str, port: int, asked: int | None) -> int:
    """The one asked for; else the one beside the secure port, or 0 where another program has it."""
    plain = (80 if port == 443 else port + 1) if asked is None else asked
    if plain == 0:
        return 0
    try:
        _check_port_is_free(host, plain)
    except CommandError:
        if asked is not None:
            raise
        print(f"port {plain} is taken: no plain HTTP for phones; choose one with --plain-port")
        return 0
    return plain


def _serve(
    host: str, port: int, with_worker: bool, web_processes: int, https: bool, plain_port: int,
    on_ready: Callable[[str], None],
) -> None:  # fmt: skip
    stop = _Stop()
    ports = {"ROLLROOM_SECURE_PORT": str(port), "ROLLROOM_PLAIN_PORT": str(plain_port)}
    command = web_command(host, port, web_processes, https=https)
    web = _start(command, ROLLROOM_HTTPS="01"[https], **ports)
    plain = _start_plain(host, plain_port, ports) if plain_port else None
    worker = _start([sys.executable, str(ROOT / "manage.py"), "work"]) if with_worker else None
    here = "127.0.0.1" if host == "0.0.0.0" else host
    address = f"{'https' if https else 'http'}://{here}:{port}"
    looked_at = time.monotonic()
    try:
        _wait_until_it_answers(address, web, stop)
        if plain is not None and not stop.asked:
            print(f"phones that do not trust it yet: http://{here}:{plain_port}/", flush=True)
        if not stop.asked:
            on_ready(address)
        while not stop.asked:
            if web.poll() is not None:
                raise CommandError(f"the web server stopped with exit code {web.returncode}")
            if worker is not None and worker.poll() is not None:
                worker = _start([sys.executable, str(ROOT / "manage.py"), "work"])
            if plain is not None and plain.poll() is not None:
                plain = _start_plain(host, plain_port, ports)
            if https and time.monotonic() - looked_at > LOOKS_AT_CERTIFICATE_S:
                looked_at = time.monotonic()
                if _renew_certificate():
                    web.send_signal(signal.SIGHUP)  # takes it up; requests under way are finished
            stop.wait(0.5)
    finally:
        for process in (worker, plain, web):
            _end(process)


def _renew_certificate() -> bool:
    try:
        return certificates.keep_fresh(at=timezone.now())
    except ToolingError as error:
        raise CommandError(error.message) from error


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


def web_command(host: str, port: int, processes: int, *, https: bool) -> list[str]:
    """How gunicorn is started: one process on SQLite, whose write lock lives in it."""
    workers = 1 if connection.vendor == "sqlite" else processes
    secure = ["--certfile", str(server_file()), "--keyfile", str(server_file()),
              "--keep-alive", str(KEPT_ALIVE_S)]  # fmt: skip
    return [
        sys.executable, "-m", "gunicorn", "tooling.wsgi:application",
        "--bind", f"{host}:{port}", "--worker-class", "gthread", "--workers", str(workers),
        "--threads", str(THREADS), "--log-level", "warning", "--graceful-timeout", "5",
        "--no-control-socket",
        "--worker-tmp-dir", "/dev/shm" if Path("/dev/shm").is_dir() else "/tmp",
        *(secure if https else ()),
    ]  # fmt: skip


def _start_plain(host: str, port: int, ports: dict[str, str]) -> subprocess.Popen[bytes]:
    """A server of its own for ``tooling/web/plain.py``; it knows no session and no secret page."""
    command = web_command(host, port, 1, https=False)
    return _start(command, ROLLROOM_PLAIN="1", **ports)


def _start(command: list[str], **names: str) -> subprocess.Popen[bytes]:
    environment = {**os.environ, **names}
    return subprocess.Popen(command, cwd=ROOT, env=environment, preexec_fn=_end_with_parent)


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
    trusts = None
    if address.startswith("https:"):
        trusts = ssl.create_default_context(cafile=str(handed_out_file()))
        trusts.check_hostname = False  # it may listen under a name that nobody else uses
    for _attempt in range(600):
        if stop.asked:
            return
        if web.poll() is not None:
            raise CommandError(f"the web server ended at once (exit code {web.returncode})")
        try:
            with urllib.request.urlopen(f"{address}/healthz", timeout=2, context=trusts) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            stop.wait(0.1)
    raise CommandError("the web server did not answer within a minute")
