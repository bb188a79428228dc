"""Tool sets: the list, one set as passes by shafts, and its parts put in one by one."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.models import SetPass, SetPosition, ToolSet
from tooling.permissions import Verb
from tooling.queries.mill_fit import fit_page, mills_for_set
from tooling.queries.sets import set_list, set_page
from tooling.services import sets as services
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.sets import EditSet, NewSet, PassForm, PositionForm, VariantForm
from tooling.web.rows import get_row, get_set

FACTS = ("name", "revision", "customer", "grades", "hand", "side_roll_mounting", "note")
THICKNESS = ("thickness_least_nm", "thickness_most_nm")
POSITION = ("set_pass", "shaft", "order", "drawing", "variant", "mark_faces", "is_split",
            "carries_guide_point", "side", "where", "tilt_degrees")  # fmt: skip
POSITION_SIZES = ("height_nm", "in_out_nm", "gap_diameter_nm")


@require_GET
def show_sets(request: HttpRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()
    context = {"rows": set_list(text=text), "text": text, **rights(request)}
    return render(request, "sets/list.html", context)


@require_GET
def show_set(request: HttpRequest, number: str) -> HttpResponse:
    """One set: passes by shafts, copies, charts, mills it fits."""
    page = set_page(number)
    fits = mills_for_set(page.number, unit=unit_of(request.user, page.unit))
    context = {"tool_set": page, "fits": fits, "variant_form": VariantForm(), **rights(request)}
    return render(request, "sets/set.html", context)


@require_GET
def show_fit(request: HttpRequest, number: str, mill: str) -> HttpResponse:
    """Every check of the set on one mill, the gravest first."""
    row = get_set(number)
    page = fit_page(number, mill, unit=unit_of(request.user, row.unit))
    return render(request, "sets/fit.html", {"fit": page, **rights(request)})


@require_http_methods(["GET", "POST"])
def new_set(request: HttpRequest) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    return fill_in(
        request,
        NewSet(data_of(request)),
        template="sets/form.html",
        save=lambda values: services.create_set(**signed(request), **values),
        done=lambda row: (set_url(row), _("Set {n} made. Now its positions.").format(n=row.number)),
        head=_("New tool set"),
        back=reverse("sets"),
    )


@require_http_methods(["GET", "POST"])
def edit_set(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    form = EditSet(
        data_of(request),
        unit=unit_of(request.user, row.unit),
        initial={name: getattr(row, name) for name in FACTS},
        lengths={name: getattr(row, name) for name in THICKNESS},
    )
    return fill_in(
        request,
        form,
        template="sets/form.html",
        save=lambda values: services.edit_set(**signed(request), tool_set=row, **values),
        done=lambda saved: (set_url(row), _("Saved.")),
        head=_("Set {n}").format(n=row.number),
        back=set_url(row),
    )


@require_http_methods(["GET", "POST"])
def save_pass(request: HttpRequest, number: str) -> HttpResponse:
    """Add a pass, or change the one that ``?pass=`` names."""
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    asked = request.GET.get("pass", "")
    old = row.passes.filter(number=int(asked)).first() if asked.isdigit() else None
    last = row.passes.order_by("-number").first()
    initial: dict[str, Any] = {"number": old.number if old else (last.number + 1 if last else 1)}
    if old:
        initial |= {"name": old.name, "gap_point": old.gap_point, "gap_degrees": old.gap_degrees}
    form = PassForm(
        data_of(request),
        unit=unit_of(request.user, row.unit),
        initial=initial,
        lengths={"pass_line_rise_nm": old.pass_line_rise_nm} if old else None,
    )
    return fill_in(
        request,
        form,
        template="sets/form.html",
        save=lambda values: services.save_pass(**signed(request), tool_set=row, **values),
        done=lambda saved: (set_url(row), _("Pass {n} saved.").format(n=saved.number)),
        head=_("Set {n}, pass").format(n=row.number),
        back=set_url(row),
    )


@require_http_methods(["GET", "POST"])
def save_position(request: HttpRequest, number: str) -> HttpResponse:
    """Say what a position calls for. ``?position=`` changes an old one; ``?pass=`` and
    ``?shaft=`` begin a new one after the last there."""
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    old = _old_position(row, request.GET.get("position", ""))
    form = PositionForm(
        data_of(request),
        tool_set=row,
        unit=unit_of(request.user, row.unit),
        initial=_initial(old) if old else _next_position(row, request),
        lengths={name: getattr(old, name) for name in POSITION_SIZES} if old else None,
    )
    return fill_in(
        request,
        form,
        template="sets/position.html",
        save=lambda values: services.save_position(**signed(request), **values),
        done=lambda saved: (
            f"{set_url(row)}#pass-{saved.set_pass.number}",
            _("Pass {n}: {drawing} is called for.").format(
                n=saved.set_pass.number, drawing=saved.drawing.number
            ),
        ),
        head=_("Set {n}, position").format(n=row.number),
        back=set_url(row),
        old=old,
        number=row.number,
    )


@require_POST
def remove_position(request: HttpRequest, number: str, position: int) -> HttpResponse:
    rows = SetPosition.objects.select_related("set_pass__tool_set", "drawing", "variant")
    row = get_row(rows, said=number, pk=position, set_pass__tool_set__number=number)
    services.remove_position(**signed(request), position=row)
    return redirect("set", number)


@require_POST
def add_variant(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    return fill_in(
        request,
        VariantForm(request.POST),
        template="sets/form.html",
        save=lambda values: services.add_variant(**signed(request), tool_set=row, **values),
        done=lambda saved: (set_url(row), _("Variant {name} added.").format(name=saved.name)),
        head=_("Set {n}, variant").format(n=row.number),
        back=set_url(row),
    )


def set_url(row: ToolSet) -> str:
    return reverse("set", args=[row.number])


def _old_position(row: ToolSet, asked: str) -> SetPosition | None:
    if not asked.isdigit():
        return None
    rows = SetPosition.objects.select_related("set_pass", "drawing", "variant")
    return rows.filter(pk=int(asked), set_pass__tool_set=row).first()


def _initial(old: SetPosition) -> dict[str, Any]:
    initial = {name: getattr(old, name) for name in POSITION}
    return {**initial, "set_pass": old.set_pass.number}


def _next_position(row: ToolSet, request: HttpRequest) -> dict[str, Any]:
    asked, shaft = request.GET.get("pass", ""), request.GET.get("shaft", "top")
    here = SetPass.objects.filter(tool_set=row, number=int(asked) if asked.isdigit() else 1)
    last = SetPosition.objects.filter(set_pass__in=here, shaft=shaft).order_by("-order").first()
    return {"set_pass": asked or 1, "shaft": shaft, "order": last.order + 1 if last else 1}
