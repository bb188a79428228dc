"""What a device needs so that scanning goes on without the server: the service worker, the empty
Scan page that it keeps, what the labels mean, and who is logged in."""

from __future__ import annotations

import gzip
import json
import time
from dataclasses import dataclass

from django.contrib.auth.decorators import login_not_required
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from tooling.permissions import Verb, check_can
from tooling.queries.scan_known import known, known_version
from tooling.web.offline_files import shell_html, worker_script
from tooling.web.sessions import person_of

KEPT = "scan-known"
AS_GOOD_FOR = 50
"""A bundle is given again, whatever moved, for so many times as long as it took to make: then
making it costs a fiftieth of a core at most. Its age goes with it."""


@dataclass(frozen=True)
class Bundle:
    """What devices are given: zipped JSON, and the moment (``time.time``) when it was true."""

    version: str
    body: bytes
    as_of: float
    took_s: float


@require_GET
@login_not_required
def service_worker(request: HttpRequest) -> HttpResponse:
    """The script at the root, so that it may answer for every address; asked anew each time."""
    answer = HttpResponse(worker_script(), content_type="text/javascript; charset=utf-8")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@require_GET
@login_not_required
def shell(request: HttpRequest) -> HttpResponse:
    """The Scan page with nothing of anybody's on it, for the device to keep."""
    answer = HttpResponse(shell_html())
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@require_GET
@login_not_required
def manifest(request: HttpRequest) -> HttpResponse:
    """What makes the page something to install on a phone."""
    told = {
        "name": "rollroom",
        "short_name": "rollroom",
        "description": _("Scan rolls and spacers where they are put."),
        "id": "/scan/",
        "start_url": reverse("scan"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#f2f4ef",
        "theme_color": "#14507f",
        "icons": [
            _icon("icon-192.png", "192x192", "any"),
            _icon("icon-512.png", "512x512", "any"),
            _icon("icon-maskable-512.png", "512x512", "maskable"),
        ],
    }
    answer = JsonResponse(told, content_type="application/manifest+json")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


def _icon(name: str, sizes: str, purpose: str) -> dict[str, str]:
    return {
        "src": static(f"rollroom/{name}"),
        "sizes": sizes,
        "type": "image/png",
        "purpose": purpose,
    }


@require_GET
def session(request: HttpRequest) -> JsonResponse:
    """Who would be writing, and the token to write with: asked before a device sends."""
    person = person_of(request)
    told = {"person": person.username, "name": str(person), "token": get_token(request)}
    answer = JsonResponse(told)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@require_GET
def show_known(request: HttpRequest) -> HttpResponse:
    """What the labels mean; 304 when the device has it. ``Age`` says how old that is, in s."""
    check_can(request.user, Verb.MOVE_PIECES)
    bundle, age_s = _bundle()
    tag = f'"{bundle.version}"'
    if request.headers.get("If-None-Match", "").removeprefix("W/") == tag:
        answer = HttpResponse(status=304)
    elif "gzip" in request.headers.get("Accept-Encoding", ""):
        answer = HttpResponse(bundle.body, content_type="application/json")
        answer.headers["Content-Encoding"] = "gzip"
    else:
        answer = HttpResponse(gzip.decompress(bundle.body), content_type="application/json")
    answer.headers["ETag"] = tag
    answer.headers["Age"] = str(round(age_s))
    answer.headers["Cache-Control"] = "no-cache"
    answer.headers["Vary"] = "Accept-Encoding, Cookie"
    return answer


def _bundle() -> tuple[Bundle, float]:
    """The bundle and how many seconds old it is."""
    now = time.time()
    kept: Bundle | None = cache.get(KEPT)
    if kept is not None and 0 <= now - kept.as_of < AS_GOOD_FOR * kept.took_s:
        return kept, now - kept.as_of
    version = known_version()
    if kept is not None and kept.version == version:
        return kept, 0.0
    began = time.perf_counter()
    text = json.dumps(known(version), ensure_ascii=False, separators=(",", ":"))
    body = gzip.compress(text.encode(), compresslevel=5, mtime=0)
    made = Bundle(version, body, now, time.perf_counter() - began)
    cache.set(KEPT, made, timeout=None)
    return made, time.time() - now
