"""Counts: opened over a place, a copy of a set or an owner's tooling; dropped without a trace."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import F, Max, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    AWAY_KINDS,
    Count,
    CountLine,
    CountState,
    How,
    Movement,
    Owner,
    Person,
    Piece,
    Place,
    PlaceKind,
    SetCopy,
    StockLine,
)
from tooling.models import Counter as Serial
from tooling.permissions import Verb, check_can
from tooling.queries.count_sights import live_entries
from tooling.queries.count_words import subject_of
from tooling.queries.whereabouts import whereabouts
from tooling.services.corrections import undo
from tooling.services.edits import apply_edit, optional_text, record_creation
from tooling.services.movements import check_place_is_used, pieces_now, refold
from tooling.services.paper_sets import unfold
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock, writing

SERIAL = "#"
"""The kind under which the numbers of counts are drawn; no label begins with it."""

NOT_COUNTABLE = (PlaceKind.LOST, PlaceKind.SCRAP, PlaceKind.UNKNOWN)
LONGEST_NOTE = 400


def open_count(
    *,
    by: Person,
    at: datetime,
    place: Place | None = None,
    set_copy: SetCopy | None = None,
    owner: Owner | None = None,
    note: str = "",
) -> Count:
    """Begin a count and write down what is expected: all in the place and in what lies in it, the
    copy's pieces, or the owner's pieces and bins wherever they are.

    A copy known only from paper becomes pieces. Raises NotAllowed, ``one_subject``,
    ``not_countable``, ``place_not_used``, ``already_counting``, ``long_text``.
    """
    check_can(by, Verb.CLOSE_COUNTS)
    _check_subject(place, set_copy, owner)
    if place is not None:
        check_countable(place)
    note = optional_text(note, field="note", label=_("Note"), longest=LONGEST_NOTE)
    with writing():
        number = _next_number()
        if place is not None:
            place = Place.objects.get(pk=place.pk)
        _check_not_counted_already(place, set_copy, owner)
        if set_copy is not None and set_copy.from_paper_count is not None:
            unfold(by=by, at=at, copy=set_copy)
        subject = {"place": place, "set_copy": set_copy, "owner": owner}
        count = Count.objects.create(
            number=number, opened_at=at, opened_by=by, note=note, **subject
        )
        expected = _write_lines(count)
        fields = {"of": subject_of(count), "expected": expected, "note": note}
        record_creation(by=by, at=at, row=count, key=str(number), fields=fields)
    return count


def drop(*, by: Person, at: datetime, count: Count, note: str = "") -> Count:
    """End a count as if it had not been: nothing is lost or corrected, what it moved goes back to
    where the record had it, what it saw does not count as seen.

    Raises NotAllowed, ``count_closed``, ``long_text``.
    """
    check_can(by, Verb.CLOSE_COUNTS)
    note = optional_text(note, field="note", label=_("Note"), longest=LONGEST_NOTE)
    with writing():
        count = hold(count)
        entries = live_entries().filter(count=count, piece__isnull=False)
        moved = Movement.objects.filter(count_entries__in=entries, how=How.COUNT)
        for movement in moved.order_by("effective_at", "received_at", "id"):
            undo(by=by, at=at, movement=movement, how=How.COUNT)
        saw = set(entries.values_list("piece_id", flat=True))
        fields = {"state": CountState.DROPPED, "closed_at": at, "closed_by": by}
        if note:
            fields["note"] = note
        apply_edit(
            by=by, at=at, row=count, key=str(count.number), fields=fields, what="dropped",
            reason=note,
        )  # fmt: skip
        bump(count)
        see_anew(saw)
    return count


def hold(count: Count) -> Count:
    """The count as it stands, held until the transaction ends. Raises Conflict ``count_closed``."""
    lock(counts=[count.pk])
    rows = Count.objects.select_related("place", "set_copy__tool_set", "owner")
    held = rows.get(pk=count.pk)
    check_open(held)
    return held


def check_open(count: Count) -> None:
    """Raise Conflict ``count_closed`` unless things can still be counted into it."""
    if count.state == CountState.OPEN:
        return
    said = (
        _("Count {count} of {subject} was dropped; nothing more can be counted into it. Open a "
          "new one.")
        if count.state == CountState.DROPPED
        else _("Count {count} of {subject} is closed; nothing more can be counted into it. A piece "
               "that turns up now returns by a scan on the Scan page.")
    )  # fmt: skip
    raise Conflict("count_closed", said, count=count.number, subject=subject_of(count))


def bump(count: Count) -> None:
    """Tell every screen that shows the count that something on it has moved."""
    Count.objects.filter(pk=count.pk).update(version=F("version") + 1)


def see_anew(piece_ids: Iterable[int | None]) -> None:
    """Work out again when these pieces were last seen, after an entry was taken back."""
    ids = {pk for pk in piece_ids if pk is not None}
    refold(pieces_now(pk__in=ids))
    touch_kits_of(pieces=ids)


def _check_subject(place: Place | None, set_copy: SetCopy | None, owner: Owner | None) -> None:
    if sum(each is not None for each in (place, set_copy, owner)) != 1:
        raise ToolingError(
            "one_subject",
            _("A count is of one thing: a place, a copy of a set, or an owner's tooling."),
        )


def check_countable(place: Place) -> None:
    """Raise Conflict ``place_not_used``, or ``not_countable`` for a place where nothing lies."""
    check_place_is_used(place)
    beyond = whereabouts().beyond_reach(place)
    if beyond is not None and beyond.kind in NOT_COUNTABLE:
        raise Conflict(
            "not_countable",
            _("{place} is no place where anybody can look. Count a rack, a shelf, a cart, or an "
              "owner's tooling."),
            place=place.path_name or place.name,
            in_field="place",
        )  # fmt: skip


def _next_number() -> int:
    """The next number; whoever opens a count at the same moment waits here."""
    Serial.objects.get_or_create(kind=SERIAL)
    serial = Serial.objects.select_for_update().get(kind=SERIAL)
    last = Count.objects.aggregate(last=Max("number"))["last"] or 0
    number = max(serial.next_serial, last + 1)
    serial.next_serial = number + 1
    serial.save(update_fields=["next_serial"])
    return number


def _check_not_counted_already(
    place: Place | None, set_copy: SetCopy | None, owner: Owner | None
) -> None:
    """Two open counts of one thing, or of a place and one inside it, would lose pieces twice."""
    rows = Count.objects.filter(state=CountState.OPEN).select_related(
        "place", "set_copy__tool_set", "owner"
    )
    if place is not None:
        around = [code for code in place.path.split("/") if code]
        rows = rows.filter(Q(place__code__in=around) | Q(place__path__startswith=place.path))
    else:
        rows = rows.filter(set_copy=set_copy, owner=owner, place=None)
    other = rows.order_by("number").first()
    if other is not None:
        raise Conflict(
            "already_counting",
            _("{subject} is being counted already: count {count}. Help with that one, or close it "
              "first."),
            subject=subject_of(other),
            count=other.number,
        )  # fmt: skip


def _write_lines(count: Count) -> int:
    """What is expected, one line for each piece and bin; how many lines."""
    pieces, stock = _expected(count)
    lines = [
        CountLine(count=count, piece_id=pk, place_id=place)
        for pk, place in pieces.order_by("code").values_list("pk", "place_id")
    ]
    lines += [
        CountLine(count=count, stock_line_id=pk, place_id=place, expected=there)
        for pk, place, there in stock.order_by("code").values_list("pk", "place_id", "count")
    ]
    CountLine.objects.bulk_create(lines, batch_size=500)
    return len(lines)


def _expected(count: Count) -> tuple[QuerySet[Piece], QuerySet[StockLine]]:
    """The pieces and the bins that a count is about; empty bins are not looked for. What is lost
    or scrapped is expected nowhere; bins away from the shop are not counted from here."""
    stock = StockLine.objects.filter(count__gt=0)
    if count.place is not None:
        gone, inside = _inside_kinds(*NOT_COUNTABLE), Q(place__path__startswith=count.place.path)
        return Piece.objects.filter(inside, ~gone), stock.filter(inside, ~gone)
    gone, away = _inside_kinds(PlaceKind.LOST, PlaceKind.SCRAP), _inside_kinds(*AWAY_KINDS)
    if count.set_copy is not None:
        return Piece.objects.filter(~gone, allotments__copy=count.set_copy), stock.none()
    return Piece.objects.filter(~gone, owner=count.owner), stock.filter(
        ~gone, ~away, owner=count.owner
    )


def _inside_kinds(*kinds: str) -> Q:
    """In a place of one of these kinds, or in what lies in it."""
    found = Q(pk__in=[])
    for path in Place.objects.filter(kind__in=kinds).values_list("path", flat=True):
        found |= Q(place__path__startswith=path)
    return found
