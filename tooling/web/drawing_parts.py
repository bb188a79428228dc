"""What a drawing's die makes, and what becomes of pieces made to its older revisions."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Drawing
from tooling.permissions import Verb
from tooling.services import features, old_pieces
from tooling.web.doors import data_of, fill_in, require, signed
from tooling.web.drawings import drawing_answer, find_revision
from tooling.web.forms.drawings import FeatureForm
from tooling.web.rows import get_drawing, get_piece

FACTS = ("shape", "name", "note", "order")
SIZES = ("width_nm", "length_nm")


@require_http_methods(["GET", "POST"])
def save_feature(request: HttpRequest, number: str, revision: int) -> HttpResponse:
    """A hole, a slot, a cut …; ``?order=`` changes the one of that number."""
    require(request, Verb.EDIT_RECORDS)
    row = find_revision(number, revision)
    asked = request.GET.get("order", "")
    old = row.features.filter(order=int(asked)).first() if asked.isdecimal() else None
    last = row.features.order_by("-order").first()
    form = FeatureForm(
        data_of(request),
        unit=row.unit,
        initial={name: getattr(old, name) for name in FACTS}
        if old
        else {"order": last.order + 1 if last else 1},
        lengths={name: getattr(old, name) for name in SIZES} if old else None,
    )
    return fill_in(
        request,
        form,
        template="drawings/attach.html",
        save=lambda values: features.save_feature(**signed(request), revision=row, **values),
        done=lambda saved: (
            f"{reverse('drawing', args=[number])}#features",
            _("{shape} kept.").format(shape=saved.get_shape_display().capitalize()),
        ),
        head=_("{number} {r}: what it makes in the strip").format(number=number, r=row.revision),
        back=reverse("drawing", args=[number]),
    )


@require_POST
def remove_feature(request: HttpRequest, number: str, revision: int, order: int) -> HttpResponse:
    row = find_revision(number, revision)
    features.remove_feature(**signed(request), revision=row, order=order)
    return redirect(f"{reverse('drawing', args=[number])}#features")


@require_POST
def settle_old(request: HttpRequest, number: str) -> HttpResponse:
    """One tap on an old piece, or on all of them: used as it is, reworked, scrapped."""
    require(request, Verb.EDIT_RECORDS)
    drawing = get_drawing(number)
    try:
        said = _settle(request, drawing, {**signed(request), "drawing": drawing})
    except NotAllowed:
        raise
    except ToolingError as error:
        return drawing_answer(request, number, status=error.status, error=error)
    messages.success(request, said)
    return redirect(f"{reverse('drawing', args=[number])}#old-pieces")


def _settle(request: HttpRequest, drawing: Drawing, way: dict[str, Any]) -> str:
    act, code = request.POST.get("act", ""), request.POST.get("code", "")
    if act == "all_as_is":
        n = old_pieces.use_all_as_is(**way)
        words = ngettext("{n} piece is used as it is.", "{n} pieces are used as they are.", n)
        return words.format(n=n)
    piece = get_piece(code)
    if act == "reworked":
        old_pieces.reworked(**way, pieces=[piece])
        return _("{code} is reworked to the current revision.").format(code=piece.code)
    if act == "scrapped":
        place = old_pieces.scrapped(**way, pieces=[piece])
        return _("{code} is in {place}.").format(code=piece.code, place=place.name)
    old_pieces.use_as_is(**way, pieces=[piece])
    return _("{code} is used as it is.").format(code=piece.code)
