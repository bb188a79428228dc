"""What a server with HTTPS answers on its port of plain HTTP: how a phone learns to trust it, and
the way to HTTPS. No login, no cookie, nothing of the shop: there is no other address here.
"""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, re_path
from django.views.decorators.http import require_GET, require_safe

from tooling.queries.certificates import certificates_kept
from tooling.web.https import authority, authority_pem, host_and_port


@require_GET
def show_plain(request: HttpRequest) -> HttpResponse:
    """The steps, the certificate to take, and where the shop is once the device trusts it."""
    context = {"kept": certificates_kept(), "secure_address": secure(request)}
    return render(request, "https/plain.html", context)


@require_safe
def to_https(request: HttpRequest) -> HttpResponse:
    """The same address by HTTPS. What is posted here has been read by others: it is refused."""
    return HttpResponseRedirect(secure(request, request.get_full_path()))


def secure(request: HttpRequest, address: str = "/shop/https/") -> str:
    """An address of this server by HTTPS, under the name it was asked for."""
    host, _port = host_and_port(request)
    port = "" if settings.SECURE_PORT == 443 else f":{settings.SECURE_PORT}"
    return f"https://{host}{port}/{address.lstrip('/')}"


urlpatterns = [
    path("", show_plain, name="https"),
    path("authority.crt", authority, name="https-authority"),
    path("authority.pem", authority_pem, name="https-authority-pem"),
    re_path(r"", to_https),
]
