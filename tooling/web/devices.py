"""Phones and tablets that scan: whose clock is wrong, which are shared and where they stand."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import ToolingError
from tooling.models import Device, Mill
from tooling.permissions import Verb
from tooling.queries.devices import device_rows
from tooling.services import devices
from tooling.web.doors import require, rights, signed
from tooling.web.rows import get_row
from tooling.web.shared import mark_tablet, shared_device


@require_GET
def show_devices(request: HttpRequest) -> HttpResponse:
    """Every device that ever scanned, the last seen first, and the one in hand."""
    require(request, Verb.RUN_SHOP)
    return _page(request)


def _page(request: HttpRequest, error: ToolingError | None = None) -> HttpResponse:
    here = shared_device(request)
    context = {
        "devices": device_rows(),
        "mills": Mill.objects.order_by("number").values_list("number", "name"),
        "here": here,
        "here_mill": here.mill.number if here and here.mill else "",
        "error": error,
        **rights(request),
    }
    return render(request, "shop/devices.html", context, status=error.status if error else 200)


@require_POST
def save_this(request: HttpRequest) -> HttpResponse:
    """The tablet in hand: its name, whether it is shared, at which mill. Its browser remembers."""
    require(request, Verb.RUN_SHOP)
    try:
        row = _save(request, devices.device_key(request.POST.get("device", "")))
    except ToolingError as error:
        return _page(request, error)
    response = redirect("devices")
    mark_tablet(request, response, row)
    return response


@require_POST
def save(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Another device. It becomes a shared one only from its own browser."""
    require(request, Verb.RUN_SHOP)
    get_row(Device.objects.all(), said=_("such device"), pk=key)
    try:
        _save(request, key)
    except ToolingError as error:
        return _page(request, error)
    return redirect("devices")


def _save(request: HttpRequest, key: uuid.UUID) -> Device:
    number = request.POST.get("mill", "")
    mill = get_row(Mill.objects.all(), said=number, number=number) if number else None
    row = devices.edit_device(
        **signed(request), key=key, name=request.POST.get("name", ""),
        is_shared="is_shared" in request.POST, mill=mill,
    )  # fmt: skip
    messages.success(request, _("Saved."))
    return row
