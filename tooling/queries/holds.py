"""What a piece's page says about its hold and its newest change of condition; who may lift."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from tooling.errors import Unknown
from tooling.models import Change, Condition, Incident, Kit, Person, Piece
from tooling.permissions import WHO_MAY, Verb, can


@dataclass(frozen=True)
class HoldPart:
    """``who_may``: people who may lift the hold, for those who may not. ``undo``: the change of
    condition that was just made, and what it was before. ``incident``: the one that it is held
    after."""

    who_may: tuple[str, ...] = ()
    undo: int | None = None
    undo_said: str = ""
    incident: int | None = None
    held_since: Any = None


@dataclass(frozen=True)
class StopChoice:
    """One of the buttons of the page that stops a piece or says its condition."""

    value: str
    word: str
    is_now: bool = False


@dataclass(frozen=True)
class ClaimingKit:
    """An open kit that lacks the piece now."""

    number: str
    job: str


def hold_part(*, code: str, is_held: bool, by: Any, changed: str = "") -> HoldPart:
    """At most two queries for a piece that is held, one where ``changed`` names a change."""
    undo = _change(code, changed)
    if not is_held:
        return HoldPart(undo=undo.pk if undo else None, undo_said=_undo_said(undo))
    incident = (
        Incident.objects.filter(
            pieces__piece__code=code, pieces__condition_after=Condition.HOLD, corrected_by=None
        )
        .order_by("-at", "-pk")
        .first()
    )
    return HoldPart(
        who_may=() if can(by, Verb.LIFT_HOLDS) else people_who_may(Verb.LIFT_HOLDS),
        incident=incident.pk if incident else None,
    )


def people_who_may(verb: Verb) -> tuple[str, ...]:
    """Names of the people at work whose roles allow it, by name. One query."""
    rows = Person.objects.filter(is_active=True, roles__role__in=WHO_MAY[verb]).distinct()
    return tuple(str(person) for person in rows.order_by("name", "username"))


def kits_that_lack(piece: Piece) -> tuple[ClaimingKit, ...]:
    """Open kits that claim it, the soonest first. One query."""
    rows = Kit.objects.filter(positions__piece=piece, positions__is_open=True)
    return tuple(
        ClaimingKit(kit.number, kit.job.number)
        for kit in rows.select_related("job").order_by("job__starts_at").distinct()
    )


def change_row(code: str, number: str) -> Change:
    """The change of this piece's condition. Raises Unknown ``unknown_code``. One query."""
    found = _change(code, number)
    if found is None:
        raise Unknown("unknown_code", _("There is no such change of {code} to undo."), code=code)
    return found


def _change(code: str, number: str) -> Change | None:
    if not number.isascii() or not number.isdigit() or len(number) > 18:
        return None
    rows = Change.objects.filter(subject="Piece", subject_key=code, what="condition")
    return rows.filter(pk=int(number)).first()


def _undo_said(change: Change | None) -> str:
    if change is None:
        return ""
    words = dict(Condition.choices)
    return _("{after} now; it was {before}.").format(
        after=str(words[change.after["condition"]]).capitalize(),
        before=words[change.before["condition"]],
    )


def stop_choices(choices: Any, *, now: str = "") -> tuple[StopChoice, ...]:
    """Buttons for the given conditions or reasons, the present one told apart."""
    return tuple(StopChoice(each.value, str(each.label), each.value == now) for each in choices)
