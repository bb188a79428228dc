"""The Shop: owners, people and their roles, settings, and the shop itself."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from tooling.errors import Unknown
from tooling.models import Gauge, Person, Setting, Shop
from tooling.models.defaults import SETTINGS, SOURCES, SettingKind
from tooling.permissions import Verb
from tooling.queries.settings import setting_lengths, setting_value, settings_page
from tooling.queries.shop import gauge_list, people_list, shop_page
from tooling.services import gauges, people, pins, settings
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.shop import (
    EditPerson,
    GaugeForm,
    MyselfForm,
    NewPerson,
    SettingForm,
    ShopForm,
)
from tooling.web.pins import confirm
from tooling.web.rows import get_row
from tooling.web.sessions import person_of


@require_GET
def show_shop(request: HttpRequest) -> HttpResponse:
    """What there is in this shop and where it is kept."""
    return render(request, "shop/shop.html", {"shop": shop_page(), **rights(request)})


@require_http_methods(["GET", "POST"])
def edit_shop(request: HttpRequest) -> HttpResponse:
    """Name, time zone, units."""
    require(request, Verb.RUN_SHOP)
    row = Shop.objects.filter(pk=1).first() or Shop(name="")
    initial = {"name": row.name, "time_zone": row.time_zone, "length_unit": row.unit,
               "strip_unit": row.strip_unit, "currency": row.currency}  # fmt: skip
    form = ShopForm(data_of(request), initial=initial)

    def save(values: dict[str, Any]) -> Shop:
        values["unit"] = values.pop("length_unit")
        return settings.edit_shop(**signed(request), **values)

    done = lambda row: (reverse("shop"), _("Saved."))  # noqa: E731
    return fill_in(
        request, form, template="shop/form.html", save=save, done=done,
        head=_("The shop"), back=reverse("shop"),
    )  # fmt: skip


@require_GET
def show_people(request: HttpRequest) -> HttpResponse:
    require(request, Verb.RUN_SHOP)
    return render(request, "shop/people.html", {"people": people_list(), **rights(request)})


@require_http_methods(["GET", "POST"])
def new_person(request: HttpRequest) -> HttpResponse:
    require(request, Verb.RUN_SHOP)
    return fill_in(
        request,
        NewPerson(data_of(request)),
        template="shop/form.html",
        save=lambda values: people.create_person(**signed(request), **values),
        done=lambda row: (reverse("people"), _("{name} can log in now.").format(name=row.name)),
        head=_("New person"),
        back=reverse("people"),
    )


@require_http_methods(["GET", "POST"])
def edit_person(request: HttpRequest, username: str) -> HttpResponse:
    require(request, Verb.RUN_SHOP)
    person = get_row(Person.objects.all(), said=username, username=username)
    way = {"more_url": reverse("person-badges", args=[username]), "more_word": _("Badges and PIN")}
    initial = {"name": person.name, "is_active": person.is_active, "roles": sorted(person.role_set)}

    def save(values: dict[str, Any]) -> Person:
        password, at = values.pop("password"), timezone.now()
        if password:
            people.set_password(by=person_of(request), at=at, person=person, password=password)
        return people.edit_person(by=person_of(request), at=at, person=person, **values)

    return fill_in(
        request,
        EditPerson(data_of(request), initial=initial),
        template="shop/form.html",
        save=save,
        done=lambda row: (reverse("people"), _("Saved.")),
        head=person.name,
        back=reverse("people"),
        **way,
    )


@require_http_methods(["GET", "POST"])
def myself(request: HttpRequest) -> HttpResponse:
    """Everybody's own units and password."""
    person = person_of(request)
    initial = {"length_unit": person.length_unit, "strip_unit": person.strip_unit}

    def save(values: dict[str, Any]) -> Person:
        password, new_pin, at = values.pop("password"), values.pop("new_pin"), timezone.now()
        if password or new_pin:
            confirm(request)
        if new_pin:
            pins.check_strength(new_pin)
        if password:
            people.set_password(by=person, at=at, person=person, password=password)
        if new_pin:
            pins.set_pin(by=person, at=at, person=person, pin=new_pin)
        return people.choose_units(by=person, at=at, **values)

    return fill_in(
        request,
        MyselfForm(data_of(request), initial=initial),
        template="shop/form.html",
        save=save,
        done=lambda row: (reverse("myself"), _("Saved.")),
        head=person.name,
        proves_it=True,
    )


@require_GET
def show_gauges(request: HttpRequest) -> HttpResponse:
    context = {"gauges": gauge_list(on=timezone.localdate()), **rights(request)}
    return render(request, "shop/gauges.html", context)


@require_http_methods(["GET", "POST"])
def new_gauge(request: HttpRequest) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    return fill_in(
        request,
        GaugeForm(data_of(request)),
        template="shop/form.html",
        save=lambda values: gauges.create_gauge(**signed(request), **values),
        done=lambda row: (reverse("gauges"), _("{name} is kept.").format(name=row.number)),
        head=_("New gauge"),
        back=reverse("gauges"),
    )


@require_http_methods(["GET", "POST"])
def edit_gauge(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    gauge = get_row(Gauge.objects.all(), said=number, number=number)
    facts = ("name", "unit", "due_on", "calibrated_on", "certificate")
    initial = {each: getattr(gauge, each) for each in facts}
    sizes = ("resolution_nm", "uncertainty_nm", "least_nm", "most_nm")
    lengths = {each: getattr(gauge, each) for each in sizes}
    form = GaugeForm(data_of(request), unit=gauge.unit, initial=initial, lengths=lengths)
    del form.fields["number"]
    return fill_in(
        request,
        form,
        template="shop/form.html",
        save=lambda values: gauges.edit_gauge(**signed(request), gauge=gauge, **values),
        done=lambda row: (reverse("gauges"), _("Saved.")),
        head=gauge.number,
        back=reverse("gauges"),
    )


@require_GET
def show_settings(request: HttpRequest) -> HttpResponse:
    context = {"settings": settings_page(), "sources": SOURCES.items(), **rights(request)}
    return render(request, "shop/settings.html", context)


@require_http_methods(["GET", "POST"])
def edit_setting(request: HttpRequest, name: str) -> HttpResponse:
    """One setting for the shop, or for one mill or set alone."""
    require(request, Verb.RUN_SHOP)
    if name not in SETTINGS:
        raise Unknown("unknown_setting", _("There is no setting “{name}”."), name=name)
    declared, unit = SETTINGS[name], unit_of(request.user, "mm")
    several = declared.kind == SettingKind.LENGTHS
    now = setting_lengths(name) if several else setting_value(name)
    is_length = declared.kind == SettingKind.LENGTH
    form = SettingForm(
        data_of(request),
        declared=declared,
        unit=unit,
        lengths={"value": now} if is_length else None,
        initial=None if is_length else {"value": now},
    )
    return fill_in(
        request,
        form,
        template="shop/form.html",
        save=lambda values: settings.set_setting(**signed(request), name=name, **values),
        done=lambda row: (reverse("settings"), _("Saved.")),
        head=declared.label,
        back=reverse("settings"),
    )


@require_http_methods(["POST"])
def reset_setting(request: HttpRequest, name: str) -> HttpResponse:
    """Back to the default; ``override`` names a mill's or a set's own value."""
    number = request.POST.get("override", "")
    row = Setting.objects.filter(pk=int(number)).first() if number.isdigit() else None
    settings.reset_setting(
        **signed(request),
        name=name,
        mill=row.mill if row else None,
        tool_set=row.tool_set if row else None,
    )
    return redirect("settings")


def _by(request: HttpRequest) -> Person:
    assert isinstance(request.user, Person)
    return request.user
