"""What owners allow: of the answers that name a piece, the newest that counts on the day decides.

A question that waits for its answer takes nothing away from an earlier one. What was given ends
after its last day; a refusal or a withdrawal counts from the day on its letter. An approval that
names no piece is of everything that is the owner's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.models import Answer, Approval, ApprovalKind, Piece, StockLine, WorkKind

CUTS = frozenset(
    {
        WorkKind.REGRIND,
        WorkKind.RECONTOUR,
        WorkKind.FACE,
        WorkKind.REBORE,
        WorkKind.STRIP,
        WorkKind.PLATE,
        WorkKind.SHARPEN,
    }
)
"""Work that takes away or puts on for good; polishing and marking anew are care."""


class Stand(StrEnum):
    """What an owner's answers come to on a day."""

    GIVEN = "given"
    REFUSED = "refused"
    WITHDRAWN = "withdrawn"
    EXPIRED = "expired"
    NONE = "none"


@dataclass(frozen=True)
class Said:
    """One answer: the date on its letter, its last day if it has one, where the letter is."""

    answer: str
    dated_on: date
    until: date | None = None
    reference: str = ""


@dataclass(frozen=True)
class Standing:
    """How it stands, and the answer that it rests on."""

    stand: Stand
    said: Said | None = None

    @property
    def is_given(self) -> bool:
        return self.stand == Stand.GIVEN


NOTHING = Standing(Stand.NONE)


def standing(answers: Sequence[Said], on: date) -> Standing:
    """What these answers, in the order they came, allow on a day."""
    for said in reversed(answers):
        if said.answer == Answer.GIVEN:
            is_over = said.until is not None and said.until < on
            return Standing(Stand.EXPIRED if is_over else Stand.GIVEN, said)
        if said.dated_on <= on:
            return Standing(Stand(said.answer), said)
    return NOTHING


Owned = Piece | StockLine
Key = tuple[int, int]
"""Owner id, piece id; 0 for everything of the owner's."""


@dataclass(frozen=True)
class Answers:
    """Answers of one kind, each with its place in the order in which they came."""

    rows: Mapping[Key, Sequence[tuple[int, Said]]]

    def standing(self, owned: Owned, on: date) -> Standing:
        """How it stands for a piece, or for what is counted in a bin, with its present owner."""
        named = self.rows.get((owned.owner_id, owned.pk), ()) if isinstance(owned, Piece) else ()
        of_all = self.rows.get((owned.owner_id, 0), ())
        return standing([said for _turn, said in sorted([*named, *of_all], key=_turn)], on)


def _turn(row: tuple[int, Said]) -> int:
    return row[0]


NO_ANSWERS = Answers({})


def answers_about(kind: str, owned: Iterable[Owned]) -> Answers:
    """Every answer of this kind about these pieces and bins. One query, none without any."""
    return answers_by_kind(owned, [kind]).get(kind, NO_ANSWERS)


def answers_by_kind(owned: Iterable[Owned], kinds: Iterable[str]) -> dict[str, Answers]:
    """The same of several kinds; those of which nothing was said are left out."""
    wanted = list(owned)
    if not wanted:
        return {}
    pieces = {each.pk for each in wanted if isinstance(each, Piece)}
    rows = (
        Approval.objects.filter(Q(pieces__piece__in=pieces) | Q(pieces=None))
        .filter(kind__in=list(kinds), owner__in={each.owner_id for each in wanted})
        .exclude(answer=Answer.ASKED)
        .order_by("at", "pk")
    )
    found: dict[str, dict[Key, list[tuple[int, Said]]]] = {}
    fields = ("kind", "owner_id", "pieces__piece_id", "answer", "dated_on", "until", "reference")
    for turn, (kind, owner, piece, *said) in enumerate(rows.values_list(*fields)):
        by_key = found.setdefault(kind, {})
        by_key.setdefault((owner, piece or 0), []).append((turn, Said(*said)))
    return {kind: Answers(by_key) for kind, by_key in found.items()}


TO_DO: dict[str, Any] = {
    ApprovalKind.OTHER_JOBS: gettext_lazy("use it in other jobs"),
    ApprovalKind.REGRIND: gettext_lazy("regrind it"),
    ApprovalKind.TRANSFER: gettext_lazy("transfer it away"),
    ApprovalKind.SCRAP: gettext_lazy("scrap it"),
}
"""What an owner is asked to let the shop do, as a sentence ends."""


def why_not(kind: str, owner: str, standing: Standing) -> str:
    """Why an owner's tooling may not be treated so, in a sentence."""
    words = {
        Stand.NONE: _("No approval of {owner} to {to_do} is on file."),
        Stand.EXPIRED: _("The approval of {owner} to {to_do} ended on {until} ({reference})."),
        Stand.WITHDRAWN: _("{owner} withdrew the approval to {to_do} on {day}."),
        Stand.REFUSED: _("{owner} refused on {day} to let the shop {to_do}."),
    }[standing.stand]
    said = standing.said
    return words.format(
        owner=owner,
        to_do=TO_DO[kind],
        until=said.until if said else "",
        day=said.dated_on if said else "",
        reference=said.reference if said else "",
    )
