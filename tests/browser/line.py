"""The line between a phone and the server, which a test cuts where it likes.

It is a server of its own on 127.0.0.1, so the browser's network is the real one; what is asked for
is passed on as it came.
"""

from __future__ import annotations

import http.client
import json
import re
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

SCANS = "/api/v1/scans/"
NOT_PASSED_ON = {
    "connection",
    "keep-alive",
    "transfer-encoding",
    "content-length",
    "date",
    "server",
}


class Line:
    """Passes requests on to ``server`` (``http://host:port``).

    ``up()``, ``down()`` (no answer to anything), ``hold_posts()`` (no answer to what is posted);
    ``cut_next("before" | "during" | "after")`` loses one batch: before the server hears it, before
    it has answered, or its answer. ``posted`` keeps the ids of every batch that the server heard.
    """

    def __init__(self, server: str) -> None:
        self.host, self.port = server.removeprefix("http://").split(":")
        self.is_down = self.holds_posts = False
        self.cut = ""
        self.token: str | None = None
        self.version: str | None = None
        self.posted: list[list[str]] = []
        self.at_once = self.most_at_once = 0
        self.asked: list[str] = []
        self.lock = threading.Lock()
        self.listener = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self))
        self.listener.daemon_threads = True
        threading.Thread(target=self.listener.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.listener.server_address[1]}"

    def up(self) -> None:
        self.is_down = self.holds_posts = False

    def down(self) -> None:
        self.is_down = True

    def hold_posts(self) -> None:
        self.holds_posts = True

    def cut_next(self, when: str) -> None:
        self.cut = when

    def spoil_next_token(self) -> None:
        """The next batch arrives with a token that was good yesterday."""
        self.token = "a" * 32

    def release(self, version: str) -> None:
        """From now on the service worker is of another version."""
        self.version = version

    def close(self) -> None:
        self.listener.shutdown()
        self.listener.server_close()

    def heard(self, body: bytes) -> None:
        with self.lock:
            self.posted.append([scan["id"] for scan in json.loads(body)["scans"]])

    def counted(self, by: int) -> None:
        with self.lock:
            self.at_once += by
            self.most_at_once = max(self.most_at_once, self.at_once)


def _handler(line: Line) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def log_message(self, format: str, *args: Any) -> None:
            """Says nothing."""

        def do_GET(self) -> None:
            self._pass(b"")

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            self._pass(body)

        def _pass(self, body: bytes) -> None:
            is_batch = self.command == "POST" and self.path == SCANS
            with line.lock:
                line.asked.append(self.path)
            if line.is_down or (line.holds_posts and self.command == "POST"):
                return self._hang_up()
            cut, line.cut = (line.cut, "") if is_batch else ("", line.cut)
            if cut == "before":
                return self._hang_up()
            if is_batch:
                line.heard(body)
                line.counted(1)
            try:
                answer = self._ask(body, is_batch, read=cut != "during")
            finally:
                line.counted(-1 if is_batch else 0)
            if cut or answer is None:
                return self._hang_up()
            return self._answer(*answer)

        def _ask(
            self, body: bytes, is_batch: bool, *, read: bool
        ) -> tuple[int, list[tuple[str, str]], bytes] | None:
            server = http.client.HTTPConnection(line.host, int(line.port), timeout=30)
            try:
                headers = {key: value for key, value in self.headers.items()
                           if key.lower() not in {"connection", "content-length"}}  # fmt: skip
                if is_batch and line.token:
                    headers["X-CSRFToken"], line.token = line.token, None
                server.request(self.command, self.path, body or None, headers)
                if not read:
                    server.getresponse()  # the server has done it; nobody hears what it says
                    return None
                got = server.getresponse()
                return got.status, got.getheaders(), got.read()
            except (OSError, http.client.HTTPException):
                return None
            finally:
                server.close()

        def _answer(self, status: int, headers: list[tuple[str, str]], body: bytes) -> None:
            if self.path == "/sw.js" and line.version:
                body = re.sub(
                    rb'"version": "[^"]*"', b'"version": "%s"' % line.version.encode(), body
                )
            self.send_response(status)
            for key, value in headers:
                if key.lower() not in NOT_PASSED_ON:
                    self.send_header(key, value)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def _hang_up(self) -> None:
            self.close_connection = True

    return Handler
