"""Saying where things belong: a piece, a cart, all that lies somewhere, a copy of a set."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import SetCopy
from tooling.permissions import Verb
from tooling.services import homes
from tooling.services.homes import Said
from tooling.web.doors import data_of, require, signed
from tooling.web.forms.loans import HomeForm, whole
from tooling.web.rows import get_piece, get_place, get_row


@require_http_methods(["GET", "POST"])
def piece_home(request: HttpRequest, code: str) -> HttpResponse:
    """Where a piece belongs."""
    require(request, Verb.EDIT_PLACES)
    piece = get_piece(code)

    def save(values: dict[str, Any]) -> Said:
        return homes.set_piece_home(**signed(request), piece=piece, home=values["home"])

    return _form(request, save, back=reverse("piece", args=[piece.code]), name=str(piece),
                 now=piece.home)  # fmt: skip


@require_http_methods(["GET", "POST"])
def cart_home(request: HttpRequest, code: str) -> HttpResponse:
    """Where a cart or plate stands when nobody uses it."""
    require(request, Verb.EDIT_PLACES)
    cart = get_place(code)

    def save(values: dict[str, Any]) -> Said:
        return homes.set_cart_home(**signed(request), cart=cart, home=values["home"])

    return _form(request, save, back=reverse("place", args=[cart.code]), name=cart.name,
                 now=cart.home)  # fmt: skip


def _form(
    request: HttpRequest, save: Callable[[dict[str, Any]], Said], *, back: str, name: str, now: Any
) -> HttpResponse:
    form = HomeForm(data_of(request), initial={"home": now})
    if request.method == "POST" and form.is_valid():
        try:
            said = save(form.cleaned_data)
        except NotAllowed:
            raise
        except ToolingError as error:
            form.refuse(error)
        else:
            return _done(back, said)
    context = {"form": form, "name": name, "back": back}
    status = 400 if form.is_bound else 200
    return render(request, "homes/form.html", context, status=status)


@require_POST
def belongs_here(request: HttpRequest, code: str) -> HttpResponse:
    """What lies in this place now belongs here."""
    require(request, Verb.EDIT_PLACES)
    place = get_place(code)
    back = reverse("place", args=[place.code])
    return _say(back, lambda: homes.belongs_here(**signed(request), place=place), request)


@require_POST
def copy_belongs_here(request: HttpRequest, number: str, copy: int) -> HttpResponse:
    """Each piece of a copy belongs where it lies now."""
    require(request, Verb.EDIT_PLACES)
    rows = SetCopy.objects.select_related("tool_set")
    row = get_row(rows, said=f"{number}-{copy}", pk=copy, tool_set__number=number)
    back = reverse("set", args=[number])
    return _say(back, lambda: homes.copy_belongs_here(**signed(request), copy=row), request)


def _say(back: str, act: Callable[[], Said], request: HttpRequest) -> HttpResponse:
    try:
        return _done(back, act())
    except NotAllowed:
        raise
    except ToolingError as error:
        messages.error(request, error.message)
        return redirect(back)


def _done(back: str, said: Said) -> HttpResponse:
    """To the page, which offers to take it back."""
    told = {"homes": said.act or 0, "changed": said.changed, "of": said.things}
    return redirect(f"{back}?{urlencode(told)}")


@require_POST
def take_back(request: HttpRequest) -> HttpResponse:
    """What was said in one act is taken back."""
    require(request, Verb.EDIT_PLACES)
    back = request.POST.get("back", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts=None):
        back = reverse("places")
    try:
        count = homes.take_back(**signed(request), act=whole(request.POST.get("act")) or 0)
    except NotAllowed:
        raise
    except ToolingError as error:
        messages.error(request, error.message)
    else:
        said = ngettext("Taken back for {n} thing.", "Taken back for {n} things.", count)
        messages.success(request, said.format(n=count))
    return redirect(back)
