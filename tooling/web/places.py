"""Places: the tree, one place with what is in it, making a row of pegs, putting places away."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from tooling.models import Place
from tooling.permissions import Verb
from tooling.queries.keeping import place_keeping
from tooling.queries.pictures import pictures_of_place
from tooling.queries.places import find_places, place_news, place_page, top_places
from tooling.services import places as services
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.shop import EditPlace, NewPlaces
from tooling.web.rows import get_place

EDITABLE = ("name", "kind", "parent", "walking_order", "max_load_kg", "owner", "is_active")


@require_GET
def show_places(request: HttpRequest) -> HttpResponse:
    """The outermost places, or those that a text finds."""
    text = request.GET.get("q", "").strip()
    rows = find_places(text) if text else top_places()
    return render(request, "places/list.html", {"rows": rows, "text": text, **rights(request)})


@require_GET
def show_place(request: HttpRequest, code: str) -> HttpResponse:
    """One place with what is in it."""
    place = place_page(code, after=request.GET.get("after", ""))
    crumbs = [(name, reverse("place", args=[inner])) for name, inner in place.crumbs]
    context = {
        "place": place,
        "news": place_news(place.code),
        "pictures": pictures_of_place(place.code),
        "keeping": place_keeping(place.code),
        "crumbs": [(_("Places"), reverse("places")), *crumbs],
    }
    return render(request, "places/place.html", {**context, **rights(request)})


@require_http_methods(["GET", "POST"])
def new_places(request: HttpRequest) -> HttpResponse:
    """One place or many; ``?inside=`` fills the form."""
    require(request, Verb.EDIT_PLACES)
    initial = {"parent": Place.objects.filter(code=request.GET.get("inside", "")).first()}
    form = NewPlaces(data_of(request), unit=unit_of(request.user, "mm"), initial=initial)

    def save(values: dict[str, Any]) -> list[Place]:
        name = values.pop("name")
        return services.create_places(**signed(request), first_name=name, **values)

    def done(made: list[Place]) -> tuple[str, str]:
        url = reverse("place", args=[(made[0].parent or made[0]).code])
        said = ngettext(
            "{n} place made: {first}.", "{n} places made: {first} to {last}.", len(made)
        )
        return url, said.format(n=len(made), first=made[0].name, last=made[-1].name)

    return fill_in(request, form, template="places/new.html", save=save, done=done)


@require_http_methods(["GET", "POST"])
def edit_place(request: HttpRequest, code: str) -> HttpResponse:
    """Rename it, put it elsewhere, give it up."""
    require(request, Verb.EDIT_PLACES)
    place = get_place(code)
    form = EditPlace(
        data_of(request),
        unit=unit_of(request.user, "mm"),
        initial={name: getattr(place, name) for name in EDITABLE},
        lengths={"height_nm": place.height_nm},
    )
    return fill_in(
        request,
        form,
        template="places/edit.html",
        save=lambda values: services.edit_place(**signed(request), place=place, **values),
        done=lambda row: (reverse("place", args=[row.code]), _("Saved.")),
        place=place,
    )
