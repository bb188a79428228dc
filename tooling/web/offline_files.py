"""The files that a device keeps for scanning without the server, found by following the empty
Scan page's own links and imports, and one word for their content: the service worker's version."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from posixpath import dirname, join, normpath

from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.urls import reverse

DECODER = (
    "vendor/zxing-wasm/iife/reader/index.js",
    "vendor/zxing-wasm/reader/zxing_reader.wasm",
)
"""Kept once the camera was used, as it is larger than all the rest."""

_LINKS = re.compile(r'(?:href|src|data-[a-z]+-script)="([^"#?]+)"')
_IMPORTS = re.compile(r'(?:from|import) ?\(?"(\./[^"]+)"')
_AT_ONCE = re.compile(r'^(?:import|export)\b[^(\n]*"(\./[^"]+)"', re.MULTILINE)
_URLS = re.compile(r'url\("([^"]+)"\)')
_LEFT = "latin-ext"
"""Letters that few names have: the rest of the type face stays on the server."""


@lru_cache(maxsize=1)
def shell_html() -> str:
    """The Scan page without data, the same for everybody."""
    return render_to_string("scan/shell.html", {"modules": _modules("rollroom/scan.js")})


def _modules(first: str) -> list[str]:
    """The script's name and all that it imports at once, so that a device asks for them together
    instead of one after the other."""
    found: list[str] = []
    wanted = [first]
    while wanted:
        name = wanted.pop(0)
        if name not in found:
            found.append(name)
            named = _AT_ONCE.findall(_content(name).decode())
            wanted += [normpath(join(dirname(name), each)) for each in named]
    return found


@lru_cache(maxsize=1)
def shell_files() -> tuple[str, ...]:
    """Addresses of everything the empty page loads, each once, without the decoder."""
    prefix = f"/{settings.STATIC_URL.strip('/')}/"
    found: list[str] = []
    wanted = [link.removeprefix(prefix) for link in _LINKS.findall(shell_html())
              if link.startswith(prefix)]  # fmt: skip
    while wanted:
        name = wanted.pop(0)
        if name not in found and name not in DECODER and _LEFT not in name:
            found.append(name)
            wanted += _named_by(name)
    return tuple(prefix + name for name in found)


def _named_by(name: str) -> list[str]:
    pattern = {".js": _IMPORTS, ".css": _URLS}.get(Path(name).suffix)
    if pattern is None:
        return []
    named = pattern.findall(_content(name).decode())
    return [normpath(join(dirname(name), each)) for each in named]


def _content(name: str) -> bytes:
    path = finders.find(name)
    if not isinstance(path, str):
        raise FileNotFoundError(name)
    return Path(path).read_bytes()


@lru_cache(maxsize=1)
def version() -> str:
    """Of all that the device keeps, its worker and its empty page."""
    prefix = f"/{settings.STATIC_URL.strip('/')}/"
    names = [*(each.removeprefix(prefix) for each in shell_files()), *DECODER]
    contents = {name: _content(name) for name in [*names, "rollroom/service-worker.js"]}
    return version_of({**contents, "": shell_html().encode()})


def version_of(contents: Mapping[str, bytes]) -> str:
    """One word for these files by name: another content is another word."""
    digest = hashlib.sha256()
    for name, content in sorted(contents.items()):
        digest.update(f"{name}\n{hashlib.sha256(content).hexdigest()}\n".encode())
    return digest.hexdigest()[:16]


@lru_cache(maxsize=1)
def worker_script() -> str:
    """The service worker with what it is to keep written above it."""
    prefix = f"/{settings.STATIC_URL.strip('/')}/"
    told = {
        "version": version(),
        "shell": reverse("scan-shell"),
        "files": shell_files(),
        "later": [prefix + name for name in DECODER],
        "scan": reverse("scan"),
        "static": prefix,
    }
    body = _content("rollroom/service-worker.js").decode()
    return f"const KEEP = {json.dumps(told)};\n{body}"
