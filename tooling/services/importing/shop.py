"""Owners and places from sheets."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Owner, Place
from tooling.services.importing.known import Known, plain
from tooling.services.importing.plan import Plan
from tooling.spreadsheets.rows import Row


def plan_owners(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    for row in rows:
        plan.begin(row, "owners")
        values = row.values
        owner = known.owners.get(plain(values["code"]))
        wanted = {
            name: values.get(name) for name in ("name", "is_shop", "contact", "consent_reference")
        }
        if wanted["is_shop"] and known.shop is not None and known.shop is not owner:
            plan.problem("is_shop", "yes", _two_shops(known.shop))
            continue
        if owner is None:
            owner = plan.create(Owner, values["code"], code=values["code"], **said(wanted))
        else:
            plan.edit(owner, owner.code, **wanted)
        known.add_owner(owner)


def _two_shops(shop: Owner) -> ToolingError:
    return ToolingError(
        "two_shops", _("Only one owner is the shop itself, and {name} already is."), name=shop.name
    )


def said(values: dict[str, Any]) -> dict[str, Any]:
    """Only what the sheet says: blank cells leave the defaults alone."""
    return {name: value for name, value in values.items() if value is not None}


def plan_places(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    for row in rows:
        plan.begin(row, "places")
        try:
            _plan_place(row.values, plan, known)
        except ToolingError as error:
            plan.problem("inside", row.values.get("inside"), error)


def _plan_place(values: dict[str, Any], plan: Plan, known: Known) -> None:
    inside = known.place(values["inside"]) if values.get("inside") else None
    path_name = f"{inside.path_name} / {values['name']}" if inside else values["name"]
    place = known.places.get(plain(path_name))
    if place is not None and inside is not None and plain(inside.path_name) == plain(path_name):
        raise ToolingError(
            "place_inside_itself", _("{name} cannot be inside itself."), name=values["name"]
        )
    wanted = {
        "kind": values["kind"],
        "walking_order": values.get("walking_order"),
        "max_load_kg": values["max_load"] / 1000 if values.get("max_load") is not None else None,
        "height_nm": values.get("height"),
        "owner": known.owner(values["owner"]) if values.get("owner") else None,
    }
    if place is None:
        place = plan.create(
            Place,
            path_name,
            code=values.get("code") or "",
            name=values["name"],
            parent=inside,
            path_name=path_name,
            **said(wanted),
        )
        known.add_place(place)
    else:
        plan.edit(place, path_name, **wanted)
