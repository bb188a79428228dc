"""Gauge points of a drawing: add, change, take out of use."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from tooling.permissions import Verb
from tooling.queries.gauge_points import points_of
from tooling.services import gauge_points
from tooling.web.doors import data_of, fill_in, require, signed
from tooling.web.forms.gauge_points import PointForm
from tooling.web.rows import get_drawing

FACTS = ("name", "where", "kind", "dimension", "grows", "is_diameter", "has_two_ends",
         "face_angle_deg", "order")  # fmt: skip
SIZES = ("new_nm", "limit_nm", "depth_limit_nm", "local_radius_nm")


@require_http_methods(["GET", "POST"])
def save_point(request: HttpRequest, number: str) -> HttpResponse:
    """A new point; ``?name=`` changes the one of that name."""
    require(request, Verb.EDIT_RECORDS)
    drawing = get_drawing(number)
    asked = request.GET.get("name", "")
    points = points_of(drawing.number)
    old = next((each for each in points if asked and each.name == asked), None)
    revision = drawing.revisions.filter(is_current=True).first()
    form = PointForm(
        data_of(request),
        unit=revision.unit if revision else "mm",
        initial={name: getattr(old, name) for name in FACTS} if old else {"order": len(points) + 1},
        lengths={name: getattr(old, name) for name in SIZES} if old else None,
    )
    return fill_in(
        request,
        form,
        template="drawings/attach.html",
        save=lambda values: gauge_points.save_gauge_point(
            **signed(request), drawing=drawing, **form.told()
        ),
        done=lambda row: (
            f"{reverse('drawing', args=[number])}#gauge-points",
            _("Gauge point {name} kept.").format(name=row.name),
        ),
        head=_("{number}: gauge point").format(number=number),
        back=reverse("drawing", args=[number]),
    )


@require_POST
def stop_point(request: HttpRequest, number: str) -> HttpResponse:
    """The point is not gauged any more; its readings stay."""
    require(request, Verb.EDIT_RECORDS)
    drawing = get_drawing(number)
    name = request.POST.get("name", "")
    gauge_points.stop_using(**signed(request), drawing=drawing, name=name)
    return redirect(f"{reverse('drawing', args=[number])}#gauge-points")
