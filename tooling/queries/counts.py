"""Counts as people read them: the list, and one count with what it says so far."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Max, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import (
    Count,
    CountEntry,
    CountLine,
    CountState,
    Movement,
    Owner,
    Place,
    PlaceKind,
    SetCopy,
)
from tooling.queries.count_groups import Group, groups_of
from tooling.queries.count_marks import LastMark, last_marks
from tooling.queries.count_state import state_of
from tooling.queries.count_views import BinNow, Outcome, PieceNow, State
from tooling.queries.count_words import Figures, kind_of, subject_of

FEW_ROWS = 40
"""So many rows are shown at once; beyond that one place at a time."""


@dataclass(frozen=True)
class CountHead:
    """What a count is of, and who opened and closed it. ``code`` names the place or the owner,
    or the set of the copy."""

    number: int
    kind: str
    subject: str
    code: str
    state: str
    opened_at: datetime
    opened_by: str
    closed_at: datetime | None
    closed_by: str
    note: str
    figures: Figures

    @property
    def name(self) -> str:
        """The innermost place alone, which people call it by."""
        return self.subject.rsplit(" / ", 1)[-1] if self.kind == "place" else self.subject

    @property
    def is_open(self) -> bool:
        return self.state == CountState.OPEN

    @property
    def is_closed(self) -> bool:
        return self.state == CountState.CLOSED


@dataclass(frozen=True)
class PieceView:
    """A piece on a count's page: where it is, who saw it, and by which mark."""

    code: str
    mark: str
    drawing: str
    owner: str
    place: str
    place_code: str
    was_at: str
    was_at_code: str
    outcome: str
    by: str = ""
    at: datetime | None = None
    entry: str = ""
    reason: str = ""
    is_lost: bool = False


@dataclass(frozen=True)
class BinView:
    """A bin on a count's page. ``expected`` by the record when it was counted."""

    code: str
    drawing: str
    owner: str
    place: str
    place_code: str
    expected: int
    counted: int | None
    difference: int
    by: str = ""
    at: datetime | None = None
    entry: str = ""
    reason: str = ""


@dataclass(frozen=True)
class GroupView:
    """One place on the walk: how much of it is found, and its rows where it is unfolded."""

    code: str
    name: str
    path_name: str
    figures: Figures
    missing: int
    uncounted: int
    is_unfolded: bool
    pieces: tuple[PieceView, ...] = ()
    bins: tuple[BinView, ...] = ()

    @property
    def is_done(self) -> bool:
        return not self.missing and not self.uncounted


@dataclass(frozen=True)
class CountPage:
    """A count as it stands. ``token`` changes with everything that the page shows."""

    head: CountHead
    token: str
    figures: Figures
    groups: tuple[GroupView, ...] = ()
    at_place: str = ""
    missing: tuple[PieceView, ...] = ()
    extra: tuple[PieceView, ...] = ()
    moved: tuple[PieceView, ...] = ()
    away: tuple[PieceView, ...] = ()
    came: tuple[PieceView, ...] = ()
    bins: tuple[BinView, ...] = ()
    uncounted: tuple[BinView, ...] = ()
    last: tuple[LastMark, ...] = field(default_factory=tuple)

    @property
    def differing(self) -> tuple[BinView, ...]:
        return tuple(row for row in self.bins if row.difference)


def find_count(number: int) -> Count:
    """A count with what it is of. Raises Unknown ``unknown_count``."""
    count = _rows().filter(number=number).first() if number < 2**31 else None
    if count is None:
        raise Unknown(
            "unknown_count",
            _("There is no count {number}. Look at the list of counts."),
            number=number,
        )
    return count


def count_list(
    *, state: str = "", place: str = "", owner: str = "", most: int = 100, before: int | None = None
) -> tuple[CountHead, ...]:
    """Counts, the newest first; of a place those that counted just it. One query."""
    rows = _rows()
    if state:
        rows = rows.filter(state=state)
    if place:
        rows = rows.filter(place__code=place.upper())
    if owner:
        rows = rows.filter(owner__code=owner.upper())
    if before is not None:
        rows = rows.filter(number__lt=before)
    return tuple(head_of(count) for count in rows.order_by("-number")[:most])


def count_token(number: int) -> str:
    """What a screen compares, to know whether anything moved: marks, and movements of what is
    expected. Raises Unknown ``unknown_count``. At most four queries."""
    return _token(find_count(number))


def count_page(number: int, *, at_place: str = "") -> CountPage:
    """A count as it stands; ``at_place`` is the place whose rows are wanted.

    Fifteen queries at most, whatever it holds. Raises Unknown ``unknown_count``.
    """
    count = find_count(number)
    token = _token(count)
    state = state_of(count)
    head = head_of(count)
    bins = tuple(bin_view(state, each) for each in state.bins)
    return CountPage(
        head=head,
        token=token,
        figures=state.figures if head.is_open else head.figures,
        groups=_groups(state, at_place.upper()) if head.is_open else (),
        at_place=at_place.upper(),
        missing=views(state, state.those(Outcome.MISSING)),
        extra=views(state, state.those(Outcome.EXTRA)),
        moved=views(state, state.those(Outcome.MOVED)),
        away=views(state, state.those(Outcome.AWAY)),
        came=views(state, state.those(Outcome.CAME)),
        bins=tuple(row for row in bins if row.counted is not None),
        uncounted=tuple(row for row in bins if row.counted is None),
        last=last_marks(count),
    )


@dataclass(frozen=True)
class CountSheet:
    """Everything a count says, row by row."""

    head: CountHead
    figures: Figures
    pieces: tuple[PieceView, ...]
    bins: tuple[BinView, ...]


def count_sheet(number: int) -> CountSheet:
    """Every piece and bin of a count with what became of it. Ten queries at most.

    Raises Unknown ``unknown_count``.
    """
    count = find_count(number)
    state, head = state_of(count), head_of(count)
    return CountSheet(
        head=head,
        figures=state.figures if head.is_open else head.figures,
        pieces=views(state, state.pieces),
        bins=tuple(bin_view(state, each) for each in state.bins),
    )


@dataclass(frozen=True)
class CountChoices:
    """What else than a place may be counted: copies by id, owners by code."""

    copies: tuple[tuple[int, str], ...]
    owners: tuple[tuple[str, str], ...]


def count_choices() -> CountChoices:
    """Two queries."""
    copies = SetCopy.objects.order_by("tool_set__number", "letter").values_list(
        "pk", "tool_set__number", "tool_set__name", "letter"
    )
    owners = Owner.objects.filter(is_shop=False).order_by("name").values_list("code", "name")
    return CountChoices(
        tuple((pk, f"{number}-{letter} {name}".strip()) for pk, number, name, letter in copies),
        tuple(owners),
    )


def _rows() -> QuerySet[Count]:
    return Count.objects.select_related(
        "place", "set_copy__tool_set", "owner", "opened_by", "closed_by"
    )


def head_of(count: Count) -> CountHead:
    """Needs what ``find_count`` loads."""
    code = count.place.code if count.place is not None else ""
    if count.set_copy is not None:
        code = count.set_copy.tool_set.number
    elif count.owner is not None:
        code = count.owner.code
    return CountHead(
        number=count.number,
        kind=kind_of(count),
        subject=subject_of(count),
        code=code,
        state=count.state,
        opened_at=count.opened_at,
        opened_by=str(count.opened_by or ""),
        closed_at=count.closed_at,
        closed_by=str(count.closed_by or ""),
        note=count.note,
        figures=Figures(count.expected, count.found, count.missing, count.extra),
    )


def _token(count: Count) -> str:
    if count.state != CountState.OPEN:
        return f"{count.version}"
    lines: Any = CountLine.objects.filter(count=count)
    about = (
        Q(piece__in=lines.exclude(piece=None).values("piece"))
        | Q(stock__in=lines.exclude(stock_line=None).values("stock_line"))
        | Q(cart__isnull=False)
    )
    since = Movement.objects.filter(about, received_at__gte=count.opened_at)
    moved = since.order_by("-received_at", "-id").values_list("id", flat=True).first() or 0
    beside = Count.objects.filter(Q(closed_at=None) | Q(closed_at__gte=count.opened_at))
    others = CountEntry.objects.filter(
        count__in=beside.exclude(pk=count.pk).values("pk"),
        piece__in=lines.exclude(piece=None).values("piece"),
        at__gte=count.opened_at,
    )
    seen = others.aggregate(last=Max("id"))["last"] or 0
    return f"{count.version}-{moved}-{seen}"


def _groups(state: State, at_place: str) -> tuple[GroupView, ...]:
    groups = groups_of(state)
    rows = sum(len(group.pieces) + len(group.bins) for group in groups)
    unfolds = len(groups) == 1 or rows <= FEW_ROWS
    return tuple(
        _group(state, group, is_unfolded=unfolds or at_place in _codes(state, group))
        for group in groups
    )


def _codes(state: State, group: Group) -> set[str]:
    """The labels by which a row is unfolded: its place's own and those of its pegs."""
    return {group.place.code, *(state.places[piece.place_id].code for piece in group.pieces)}


def _group(state: State, group: Group, *, is_unfolded: bool) -> GroupView:
    return GroupView(
        code=group.place.code,
        name=group.place.name,
        path_name=_way(state, group.place),
        figures=group.figures,
        missing=len(group.missing),
        uncounted=len(group.uncounted),
        is_unfolded=is_unfolded,
        pieces=views(state, group.pieces) if is_unfolded else (),
        bins=tuple(bin_view(state, each) for each in group.bins) if is_unfolded else (),
    )


def _way(state: State, place: Place) -> str:
    """The place by name, from what is counted inwards."""
    steps = (place.path_name or place.name).split(" / ")
    beyond = max(0, state.inside.count("/") - 1)
    return " / ".join(steps[beyond:]) or place.name


def views(state: State, pieces: Iterable[PieceNow]) -> tuple[PieceView, ...]:
    """Pieces with their places by name."""
    return tuple(_view(state, piece) for piece in pieces)


def _view(state: State, piece: PieceNow) -> PieceView:
    place, was_at = state.places[piece.place_id], state.places[piece.was_at_id]
    seen = piece.seen
    return PieceView(
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing,
        owner="" if piece.is_shops else piece.owner,
        place=place.path_name or place.name,
        place_code=place.code,
        was_at=was_at.path_name or was_at.name,
        was_at_code=was_at.code,
        outcome=piece.outcome.value,
        by=seen.by if seen else "",
        at=seen.at if seen else None,
        entry=str(seen.entry) if seen and seen.entry else "",
        reason=piece.reason,
        is_lost=place.kind == PlaceKind.LOST,
    )


def bin_view(state: State, each: BinNow) -> BinView:
    """A bin with its place by name."""
    place, seen = state.places[each.place_id], each.seen
    return BinView(
        code=each.code,
        drawing=each.drawing,
        owner="" if each.is_shops else each.owner,
        place=place.path_name or place.name,
        place_code=place.code,
        expected=each.expected,
        counted=each.counted,
        difference=each.difference,
        by=seen.by if seen else "",
        at=seen.at if seen else None,
        entry=str(seen.entry) if seen and seen.entry else "",
        reason=each.reason,
    )
