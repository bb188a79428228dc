"""Owners and places from sheets."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import Movement, Owner, Place
from tooling.services.codes import place_letter
from tooling.services.homes import check_cart_home, check_home
from tooling.services.importing.known import Known, check_label, plain
from tooling.services.importing.plan import Plan, same_record
from tooling.services.importing.waiting import Waiting
from tooling.services.places import PATH_NAME_LONGEST
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

HEIR = "the owner that is to be the shop"
DEEPEST = 40
"""Places one inside the other; the path of codes holds so many."""


def plan_owners(rows: list[Row], plan: Plan, known: Known) -> None:
    """Whichever row comes first: the shop that says "no" makes room for the one that says "yes",
    which therefore waits until all rows are read."""
    for row in rows:
        owner = known.owner_codes.get(plain(row.values["code"]))
        if row.values.get("is_shop") is False and owner is not None and owner is known.shop:
            known.shop = None
        waits = row.values.get("is_shop") and known.shop not in (None, owner)
        if waits and HEIR not in known.held:
            known.held[HEIR] = row
        else:
            _plan_owner_of(row, plan, known)


def plan_waiting_owners(plan: Plan, known: Known) -> None:
    """The owner that says it is the shop, when another was."""
    if HEIR in known.held:
        _plan_owner_of(known.held.pop(HEIR), plan, known)


def _plan_owner_of(row: Row, plan: Plan, known: Known) -> None:
    with plan.of_row(row, KINDS["owners"], "code"):
        _plan_owner(row.values, plan, known)


def _plan_owner(values: dict[str, Any], plan: Plan, known: Known) -> None:
    owner = known.owner_codes.get(plain(values["code"]))
    wanted: dict[str, Any] = {
        name: values.get(name)
        for name in ("name", "is_shop", "contact", "consent_reference", "insurance_reference")
    }
    if wanted["is_shop"] and known.shop is not None and known.shop is not owner:
        raise ToolingError(
            "two_shops",
            _("Only one owner is the shop itself, and {name} already is."),
            name=known.shop.name,
            in_field="is_shop",
        )
    if owner is None:
        owner = plan.create(Owner, values["code"], code=values["code"], **said(wanted))
    else:
        plan.edit(owner, owner.code, **wanted)
    plan.speak_of(owner, owner.name)
    known.add_owner(owner)


def said(values: dict[str, Any]) -> dict[str, Any]:
    """Only what the sheet says: blank cells leave the defaults alone."""
    return {name: value for name, value in values.items() if value is not None}


def plan_places(rows: list[Row], plan: Plan, known: Known) -> None:
    """In whatever order the rows stand; those inside a mill wait until the mills are planned."""
    waiting = []
    for row in rows:
        if _others_are_known(row, known):
            _plan_place_of(row, plan, known)
        else:
            waiting.append(row)
    Waiting(plan).add(waiting)


def plan_waiting_places(plan: Plan, known: Known) -> None:
    """The places that waited: what they are in must be known by now."""
    waiting = Waiting(plan)
    while waiting.take_out(lambda row: _others_are_known(row, known),
                           lambda row: _plan_place_of(row, plan, known)):  # fmt: skip
        pass
    names = {plain(row.values["name"]) for part in waiting.parts() for row in part}
    for part in waiting.parts():
        for row in part:
            with plan.of_row(row, KINDS["places"], "inside"):
                outer = plain((row.values.get("inside") or "").rpartition("/")[2])
                if outer in names:
                    raise _inside_itself(row.values["name"], row.values["inside"])
                _plan_place(row.values, plan, known)
        plan.flush()


def _plan_place_of(row: Row, plan: Plan, known: Known) -> None:
    with plan.of_row(row, KINDS["places"], "inside"):
        _plan_place(row.values, plan, known)


def _others_are_known(row: Row, known: Known) -> bool:
    """Whether the places that the row names are there, or never will be."""
    for text in (row.values.get("inside"), row.values.get("home")):
        try:
            if text:
                known.place(text)
        except ToolingError as error:
            if error.code == "unknown_place":
                return False
    return True


def _plan_place(values: dict[str, Any], plan: Plan, known: Known) -> None:
    inside = plan.look("inside", known.place, values["inside"]) if values.get("inside") else None
    _check_name(values["name"])
    path_name = f"{inside.path_name} / {values['name']}" if inside else values["name"]
    place = _existing(values, path_name, known)
    wanted = {
        "kind": values["kind"],
        "walking_order": values.get("walking_order"),
        "max_load_kg": values["max_load"] / 1000 if values.get("max_load") is not None else None,
        "height_nm": values.get("height"),
        "owner": plan.look("owner", known.owner, values["owner"]) if values.get("owner") else None,
        "home": plan.look("home", known.place, values["home"]) if values.get("home") else None,
    }
    if place is None:
        place = _new_place(values, inside, path_name, wanted, plan, known)
    else:
        plan.look("code", lambda text: check_label(place, text), values.get("code"))
        _check_kind(place, values["kind"])
        plan.edit(place, place.path_name, **wanted)
        _put_elsewhere(place, values["name"], inside, plan, known)
    if wanted["home"] is not None:
        _check_home(place, wanted["home"], known)
    plan.speak_of(place, place.path_name)


def _check_home(place: Place, home: Place, known: Known) -> None:
    check_home(home)
    check_cart_home(place, None)
    if _is_within(home, place, known):
        raise Conflict(
            "place_inside_itself",
            _("{cart} cannot belong in {home}: that is {cart} itself or stands on it."),
            cart=place.name,
            home=home.path_name,
            in_field="home",
        )


def _existing(values: dict[str, Any], path_name: str, known: Known) -> Place | None:
    """By its label, else by its whole path, else, of what moves, by its name alone."""
    if values.get("code") and fold(values["code"]) in known.place_codes:
        return known.place_codes[fold(values["code"])]
    place = known.places.get(plain(path_name))
    if place is None and place_letter(values["kind"]) == "C":
        return known.cart(values["name"])
    return place


def _new_place(
    values: dict[str, Any], inside: Place | None, path_name: str, wanted: dict[str, Any],
    plan: Plan, known: Known,
) -> Place:  # fmt: skip
    letter = place_letter(values["kind"])
    code = values.get("code")
    if path_name.count(" / ") >= DEEPEST or len(path_name) > PATH_NAME_LONGEST:
        raise ToolingError(
            "too_deep",
            _("“{name}” would lie too many places deep. Put it inside a place further out."),
            name=values["name"],
        )
    place: Place = plan.create(
        Place,
        path_name,
        code=plan.look("code", lambda text: known.label(text, letter), code) if code else "",
        name=values["name"],
        parent=inside,
        path_name=path_name,
        **said(wanted),
    )
    known.add_place(place)
    if place.moves and inside is not None:
        journey = plan.create(
            Movement, path_name, quiet=True, cart=place, to=inside, how="import",
            happened_at=plan.at, received_at=plan.at, effective_at=plan.at, sees=False,
        )  # fmt: skip
        place.placed_by = journey
        place.placed_effective_at = place.placed_received_at = plan.at
    return place


def _check_name(name: str) -> None:
    if "/" in name:
        raise ToolingError(
            "slash_in_name",
            _("“{name}” holds a slash, which parts a place from what it is in. Leave it out."),
            name=name,
            in_field="name",
        )


def _check_kind(place: Place, kind: str) -> None:
    if place_letter(kind) != place_letter(place.kind):
        raise Conflict(
            "label_says_otherwise",
            _("The label of {name} says whether it moves. Make a new place instead."),
            name=place.name,
            in_field="kind",
        )


def _put_elsewhere(place: Place, name: str, inside: Place | None, plan: Plan, known: Known) -> None:
    """Another name, or another place to be in; a cart's own journeys are left alone."""
    moves = inside is not None and not place.moves and not same_record(place.parent, inside)
    if plain(name) == plain(place.name) and not moves:
        return
    outer = inside if moves else place.parent
    if moves and inside is not None and _is_within(inside, place, known):
        raise _inside_itself(place.name, inside.path_name)
    path_name = f"{outer.path_name} / {name}" if outer else name
    if plain(path_name) in known.places:
        raise Conflict(
            "already_there",
            _("There is a place “{name}” already."),
            name=path_name,
            in_field="name",
        )
    _rename(place, name, outer, path_name, plan, known)


def _rename(
    place: Place, name: str, outer: Place | None, path_name: str, plan: Plan, known: Known
) -> None:
    before = place.path_name
    plan.edit(place, before, name=name, parent=outer)
    for each in list(known.places.values()):
        if each is place or each.path_name.startswith(f"{before} / "):
            known.places.pop(plain(each.path_name), None)
            each.path_name = path_name + each.path_name[len(before) :]
            known.places[plain(each.path_name)] = each
    known.place_names.setdefault(plain(name), []).append(place)


def _is_within(inner: Place, outer: Place, known: Known) -> bool:
    here: Place | None = inner
    while here is not None:
        if same_record(here, outer):
            return True
        here = known.place_keys.get(here.parent_id or 0)
    return False


def _inside_itself(name: str, inside: str) -> Conflict:
    return Conflict(
        "place_inside_itself",
        _("{name} cannot be inside {inside}, which is inside {name}."),
        name=name,
        inside=inside,
        in_field="inside",
    )
