"""``demo`` and ``serve`` as a newcomer meets them: real processes on a data folder of their own."""

from __future__ import annotations

import http.client
import http.cookiejar
import json
import os
import re
import shutil
import signal
import socket
import ssl
import time
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from tests.demo_server import ended_within, free_port, manage, rows, running

ROLES = {"viewer", "attendant", "crew", "engineer", "supervisor"}
TASK_SECONDS = 60
pytestmark = pytest.mark.one_database


def counts(data_dir: Path) -> dict[str, int]:
    names = ("piece", "mill", "toolset", "movement", "job", "kit", "person")
    return {name: rows(data_dir, f"SELECT count(*) FROM tooling_{name}")[0][0] for name in names}


@pytest.fixture(scope="module")
def shop(demo_folder: Path) -> Path:
    """The data folder of a demo shop that was drawn up, not served."""
    return demo_folder


def test_the_demo_shop_is_what_the_readme_says(shop: Path) -> None:
    """README: three mills, eight sets, some 1,200 pieces, jobs for two weeks."""
    held = counts(shop)
    assert (held["mill"], held["toolset"], held["person"]) == (3, 8, 5)
    assert 1_150 <= held["piece"] <= 1_250
    assert min(held["movement"], held["job"], held["kit"]) > 0


def test_the_demo_shop_agrees_with_its_history(shop: Path) -> None:
    done = manage(shop, "verify")
    assert done.returncode == 0, done.stdout + done.stderr


def test_logins_name_every_role_with_user_password_and_token(shop: Path) -> None:
    file = shop / "logins.json"
    logins = json.loads(file.read_text())
    assert set(logins) == ROLES
    assert all(set(login) == {"user", "password", "token"} for login in logins.values())
    assert all(all(login.values()) for login in logins.values())
    assert file.stat().st_mode & 0o077 == 0


def test_repeating_it_harms_nothing(shop: Path) -> None:
    before, logins = counts(shop), (shop / "logins.json").read_text()
    assert manage(shop, "demo", "--prepare-only", "--data-dir", str(shop)).returncode == 0
    assert counts(shop) == before
    assert (shop / "logins.json").read_text() == logins


def test_empty_makes_only_the_people(migrated_folder: Path, tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(migrated_folder, folder)
    done = manage(folder, "demo", "--prepare-only", "--empty", "--data-dir", str(folder))
    assert done.returncode == 0, done.stderr
    assert set(json.loads((folder / "logins.json").read_text())) == ROLES
    assert counts(folder) == {
        "piece": 0, "mill": 0, "toolset": 0, "movement": 0, "job": 0, "kit": 0, "person": 5,
    }  # fmt: skip


def test_a_taken_port_is_said_with_what_to_do(shop: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        done = manage(shop, "serve", "--port", port)
    assert done.returncode == 1
    assert f"port {port}" in done.stderr
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("ended_by", [signal.SIGTERM, signal.SIGINT])
def test_serve_answers_and_ends_with_everything_it_started(
    shop: Path, ended_by: signal.Signals
) -> None:
    with running(shop, "serve", "--port", str(free_port())) as (process, address):
        with urllib.request.urlopen(f"{address}/healthz", timeout=10) as answer:
            assert (answer.status, json.load(answer)) == (200, {"status": "ok"})
        process.send_signal(ended_by)
        assert process.wait(timeout=30) == 0
        with pytest.raises(ProcessLookupError):
            os.killpg(process.pid, 0)


def test_it_speaks_https_to_whoever_trusts_the_shops_authority(shop: Path, tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(shop, folder)
    assert manage(folder, "https").returncode == 0
    with running(folder, "serve", "--no-worker", "--port", str(free_port())) as (_process, address):
        host = address.removeprefix("https://")
        trusting = ssl.create_default_context(cafile=str(folder / "https" / "authority.crt"))
        asked = http.client.HTTPSConnection(host, context=trusting, timeout=20)
        asked.request("GET", "/login/")
        cookie = asked.getresponse().headers["Set-Cookie"]
        assert cookie.startswith("__Host-csrftoken=")
        assert "Secure" in cookie
        asked.close()
        with pytest.raises(ssl.SSLCertVerificationError):
            http.client.HTTPSConnection(host, timeout=20).connect()


def test_beside_https_plain_http_hands_out_the_authority_and_nothing_of_the_shop(
    shop: Path, tmp_path: Path
) -> None:
    folder, plain = tmp_path / "shop", free_port()
    shutil.copytree(shop, folder)
    assert manage(folder, "https", "--name", "tools.lan").returncode == 0
    port = free_port()
    ports = ("--port", str(port), "--plain-port", str(plain))
    with running(folder, "serve", "--no-worker", *ports):

        def asked(method: str, path: str) -> tuple[int, dict[str, str], bytes]:
            line = http.client.HTTPConnection("127.0.0.1", plain, timeout=20)
            headers = {"Host": f"tools.lan:{plain}", "Cookie": "sessionid=a"}
            line.request(method, path, headers=headers)
            answer = line.getresponse()
            found = answer.status, dict(answer.headers), answer.read()
            line.close()
            return found

        status, headers, page = asked("GET", "/")
        assert (status, "Set-Cookie" in headers) == (200, False)
        secure = f"https://tools.lan:{port}"
        fingerprint = json.loads(manage(folder, "https", "--show", "--json").stdout)["fingerprint"]
        assert fingerprint in page.decode()
        assert f"{secure}/shop/https/" in page.decode()
        pem = asked("GET", "/authority.pem")[2]
        assert pem == (folder / "https" / "authority.crt").read_bytes()
        for path in ("/login/", "/pieces/?q=a", "/api/v1/pieces/", "//example.org/"):
            status, headers, body = asked("GET", path)
            assert (status, headers["Location"]) == (302, f"{secure}/{path.lstrip('/')}")
            assert (body, "Set-Cookie" in headers) == (b"", False)
        assert asked("POST", "/login/")[0] == 405


class Visitor:
    """A person with a browser's cookies and a token of their own."""

    def __init__(self, address: str, login: dict[str, str]) -> None:
        self.address, self.token = address, login["token"]
        self.jar = http.cookiejar.CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar))
        self.read("/login/")
        self.send("/login/", username=login["user"], password=login["password"])

    def read(self, path: str) -> bytes:
        with self.opener.open(self.address + path, timeout=20) as answer:
            return bytes(answer.read())

    def send(self, path: str, **form: str) -> str:
        """The address where the answer leads."""
        form["csrfmiddlewaretoken"] = next(c.value or "" for c in self.jar if c.name == "csrftoken")
        data = urllib.parse.urlencode(form).encode()
        with self.opener.open(self.address + path, data, timeout=20) as answer:
            return str(answer.url)

    def task(self, number: str) -> dict[str, Any]:
        headers = {"Authorization": f"Token {self.token}"}
        request = urllib.request.Request(f"{self.address}/api/v1/tasks/{number}/", headers=headers)
        with urllib.request.urlopen(request, timeout=20) as answer:
            return dict(json.load(answer))


def test_demo_serves_with_a_worker_that_finishes_a_task(shop: Path) -> None:
    """More labels than the web process draws: asked on the page, drawn by the worker."""
    logins = json.loads((shop / "logins.json").read_text())
    codes = [code for (code,) in rows(shop, "SELECT code FROM tooling_piece LIMIT 320")]
    arguments = ("demo", "--port", str(free_port()), "--data-dir", str(shop))
    with running(shop, *arguments) as (process, address):
        visitor = Visitor(address, logins["engineer"])
        led_to = visitor.send("/labels/print/", what="codes", codes=" ".join(codes), size="50x25")
        found = re.fullmatch(re.escape(address) + r"/labels/(\d+)/", led_to)
        assert found, led_to
        number, give_up = found[1], time.monotonic() + TASK_SECONDS
        while (task := visitor.task(number))["state"] in ("waiting", "running"):
            assert not ended_within(process, 0.1)
            assert time.monotonic() < give_up, task
        assert task["state"] == "done", task
        assert visitor.read(f"/labels/{number}.pdf").startswith(b"%PDF-")
    printed = rows(shop, "SELECT count(DISTINCT code) FROM tooling_labelevent WHERE what = 'issue'")
    assert printed[0][0] >= len(codes)
