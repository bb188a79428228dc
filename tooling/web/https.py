"""HTTPS in the shop: what this device can do here, and how it learns to trust the server."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from tooling.paper.symbols import address_symbol
from tooling.queries.certificates import (
    LOOPBACK,
    Kept,
    authority_certificate_pem,
    authority_der,
    certificates_kept,
)


@require_GET
@login_not_required
def show_https(request: HttpRequest) -> HttpResponse:
    """For everybody, logged in or not: a phone is made ready before anybody logs in on it."""
    kept = certificates_kept()
    address = _address_for_others(request, kept)
    context = {
        "kept": kept,
        "address": address,
        "symbol": address_symbol(address) if address else None,
        "is_secure": request.is_secure(),
        "plain_port": settings.PLAIN_PORT,
        "host": host_and_port(request)[0].strip("[]"),
    }
    kind = "page" if request.user.is_authenticated else "alone"
    return render(request, f"https/{kind}.html", context)


def _address_for_others(request: HttpRequest, kept: Kept | None) -> str:
    """Where another device finds this page: by the name it was asked under, else by one of the
    certificate's; on the port of plain HTTP when there is one, since a device that does not trust
    yet is not warned there. Empty where only this machine can reach it."""
    host, port = host_and_port(request)
    if host.strip("[]") in LOOPBACK:
        names = kept.names_for_others if kept else ()
        addresses = [name for name in names if name.replace(".", "").isdigit()]
        host = next(iter((*addresses, *names)), "")
    if host and kept and settings.PLAIN_PORT:
        return f"http://{host}" + ("/" if settings.PLAIN_PORT == 80 else f":{settings.PLAIN_PORT}/")
    scheme = "https" if kept else "http"
    return f"{scheme}://{host}{port}{reverse('https')}" if host else ""


def host_and_port(request: HttpRequest) -> tuple[str, str]:
    """The host as asked for; the port with its colon, or nothing."""
    host, colon, port = request.get_host().rpartition(":")
    return (host, colon + port) if port.isdigit() else (request.get_host(), "")


@require_GET
@login_not_required
def authority(request: HttpRequest) -> HttpResponse:
    """The authority's certificate as phones and Windows take it (DER). It is no secret."""
    return _file(authority_der(), "application/x-x509-ca-cert", "rollroom-authority.crt")


@require_GET
@login_not_required
def authority_pem(request: HttpRequest) -> HttpResponse:
    """The same as text (PEM), for Linux, Firefox and programs."""
    return _file(authority_certificate_pem(), "application/x-pem-file", "rollroom-authority.pem")


def _file(data: bytes, kind: str, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(data, content_type=kind, headers=headers)
