"""A whole copy of a set put somewhere at once: which of its pieces go, to where, and which stay.

What is away, lost, held or with another kit stays where it is and is named. Put to the copy's own
home, or to a place that holds the homes of its pieces, each piece goes to its own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tooling.errors import ToolingError
from tooling.models import MOVING_KINDS, Condition, KitPosition, Piece, Place, PlaceKind, SetCopy
from tooling.queries.homes import STORAGE_KINDS
from tooling.queries.whereabouts import whereabouts

FEW = 5
"""So many pieces are named in one sentence; of the rest it says how many."""


@dataclass(frozen=True)
class Whole:
    """Where each piece of a copy goes; who stays and why; who was last seen away from the rest.

    ``there`` are those that lie where they would go already.
    """

    name: str
    going: Mapping[int, Place]
    names: Mapping[int, str]
    stays: Mapping[int, str]
    there: frozenset[int] = frozenset()
    elsewhere: Mapping[int, str] = field(default_factory=dict)


def whole_copy(copy: SetCopy, *, to: Place) -> Whole:
    """What happens when a copy is put to a place as a whole. Five queries."""
    rows = Piece.objects.filter(allotments__copy=copy).select_related("place", "home")
    pieces = list(rows.order_by("allotments__position__set_pass__number", "code"))
    stays = _stay(copy, pieces)
    going = {piece.pk: _goes_to(piece, copy, to) for piece in pieces if piece.pk not in stays}
    there = frozenset(p.pk for p in pieces if p.pk in going and going[p.pk].pk == p.place_id)
    moving = [piece for piece in pieces if piece.pk in going and piece.pk not in there]
    return Whole(
        name=str(copy),
        going=going,
        names={piece.pk: _name(piece) for piece in pieces},
        stays=stays,
        there=there,
        elsewhere=_elsewhere(moving),
    )


def _goes_to(piece: Piece, copy: SetCopy, to: Place) -> Place:
    """Its own home when the set comes home, else the place that was said."""
    own = piece.home
    if own is None or not own.is_active:
        return to
    return own if to.pk == copy.home_id or own.path.startswith(to.path) else to


def _stay(copy: SetCopy, pieces: Sequence[Piece]) -> dict[int, str]:
    """Piece id → why it stays where it is, in a few words."""
    beyond = whereabouts()
    others = KitPosition.objects.filter(piece__in=pieces, is_open=True, holds_piece=True)
    kits = dict(others.exclude(kit__copy=copy).values_list("piece_id", "kit__number"))
    found = {}
    for piece in pieces:
        place = beyond.beyond_reach(piece.place)
        if place is not None and place.kind != PlaceKind.UNKNOWN:
            words = _("lost") if place.kind == PlaceKind.LOST else _("at {place}")
            words = _("scrapped") if place.kind == PlaceKind.SCRAP else words
            found[piece.pk] = words.format(place=place.name)
        elif piece.condition == Condition.HOLD:
            found[piece.pk] = _("held, {reason}").format(
                reason=piece.hold_reason.rstrip(".") or _("no reason written")
            )
        elif piece.pk in kits:
            found[piece.pk] = _("with kit {kit}").format(kit=kits[piece.pk])
    return found


def _elsewhere(pieces: Iterable[Piece]) -> dict[int, str]:
    """Those that rested in another rack than most of the set: nobody saw them come along."""
    rested = [piece for piece in pieces if piece.place.kind in STORAGE_KINDS]
    codes = {code for piece in rested for code in piece.place.path.split("/") if code}
    kinds = dict(Place.objects.filter(code__in=codes).values_list("code", "kind"))
    lots = {piece.pk: _lot(piece.place, kinds) for piece in rested}
    in_use = [piece.pk for piece in pieces if piece.pk not in lots]
    counted = Counter(lots.values())
    if not counted or (len(counted) == 1 and not in_use):
        return {}
    most, count = counted.most_common(1)[0]
    home_lot = most if count >= len(in_use) else ""
    return {
        piece.pk: piece.place.path_name or piece.place.name
        for piece in rested
        if lots[piece.pk] != home_lot
    }


def _lot(place: Place, kinds: Mapping[str, str]) -> str:
    """The code of what it hangs together with: the cart it is on, else the outermost rack."""
    codes = [code for code in place.path.split("/") if code in kinds]
    together = (*STORAGE_KINDS, *MOVING_KINDS)
    return next((code for code in codes if kinds[code] in together), place.code)


def _name(piece: Piece) -> str:
    return f"{piece.code} ({piece.mark})" if piece.mark else piece.code


def refused_words(error: ToolingError) -> str:
    """Why a piece may not come along, in a few words."""
    values = error.values
    words = {
        "piece_taken": _("taken by kit {theirs}"),
        "piece_held": _("held"),
        "piece_not_fit": _("not fit for use"),
        "owner_approval_missing": _("{owner} has not agreed"),
    }.get(error.code, _("not wanted by kit {kit}"))
    told = {name: values.get(name, "-") for name in ("theirs", "kit", "owner")}
    return words.format(**told)


def said(whole: Whole, to: Place, *, refused: Mapping[int, ToolingError]) -> str:
    """What became of the copy, in sentences; pieces that need a look are named."""
    went = [pk for pk in whole.going if pk not in refused]
    parts = [_went(whole, went, to)]
    there = len([pk for pk in went if pk in whole.there])
    if there and there < len(went):
        parts.append(
            ngettext(
                "{count} of them was there already.", "{count} of them were there already.", there
            ).format(count=there)
        )
    seen = {pk: place for pk, place in whole.elsewhere.items() if pk not in refused}
    if seen:
        words = _("Last seen elsewhere, so look whether they came along: {pieces}.")
        parts.append(words.format(pieces=_listed(whole, seen)))
    parts.append(stays_words(whole, refused))
    return " ".join(part for part in parts if part)


def stays_words(whole: Whole, refused: Mapping[int, ToolingError]) -> str:
    """Which pieces stayed where they are and why, in a sentence; empty when none did."""
    stays = {**whole.stays, **{pk: refused_words(error) for pk, error in refused.items()}}
    return _("Not moved: {pieces}.").format(pieces=_listed(whole, stays)) if stays else ""


def _went(whole: Whole, went: Sequence[int], to: Place) -> str:
    places = {whole.going[pk].pk for pk in went}
    if places <= {to.pk}:
        words = ngettext(
            "{count} piece of {name} is in {place}.",
            "{count} pieces of {name} are in {place}.",
            len(went),
        )
    else:
        words = ngettext(
            "{count} piece of {name} is home, in its own place.",
            "{count} pieces of {name} are home, each in its own place.",
            len(went),
        )
    return words.format(count=len(went), name=whole.name, place=to.path_name or to.name)


def _listed(whole: Whole, why: Mapping[int, str]) -> str:
    named = [f"{whole.names[pk]}, {words}" for pk, words in list(why.items())[:FEW]]
    more = len(why) - len(named)
    if more > 0:
        named.append(_("and {count} more").format(count=more))
    return "; ".join(named)
