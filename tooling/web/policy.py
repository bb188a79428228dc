"""The content policy: nothing inline, nothing from elsewhere. Pages that scan may run the reader of
pictures, and use the camera."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
READING_POLICY = POLICY.replace("script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'")
"""Where the camera is: its reader is WebAssembly, which counts as eval without the word."""

SCANNING = "/scan/"
PERMISSIONS = "camera=(self), geolocation=(), microphone=()"


class ContentPolicyMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        reads = request.path.startswith(SCANNING)
        response.headers.setdefault("Content-Security-Policy", READING_POLICY if reads else POLICY)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        return response
