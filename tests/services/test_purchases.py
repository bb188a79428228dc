"""Orders for new tooling: what cannot be ordered is refused, what came stays as it was ordered."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest

from tests.world import World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, DrawingRevision, Owner, Person, Purchase
from tooling.services import drawings, purchases, receiving
from tooling.services.purchases import LineIn

DAY = date(2026, 11, 20)


@pytest.fixture
def revision(world: World) -> DrawingRevision:
    return world.drawing("R-1").revisions.get()


def order(by: Person, world: World, *lines: LineIn, **fields: Any) -> Purchase:
    given = {"number": "4711", "vendor": "Halden Tool", "owner": world.shop, "ordered_on": DAY}
    return purchases.create_purchase(by=by, at=world.at, lines=lines, **{**given, **fields})


def test_an_order_has_its_lines_numbered_as_they_come(
    world: World, engineer: Person, revision: DrawingRevision
) -> None:
    purchase = order(
        engineer, world, LineIn(revision, 4, mark="R-1", price_cents=125_050), LineIn(revision, 2)
    )
    rows = [(row.line, row.quantity, row.price_cents) for row in purchase.lines.all()]
    assert rows == [(1, 4, 125_050), (2, 2, None)]
    keys = Change.objects.filter(subject__startswith="Purchase").values_list("subject_key", "what")
    assert set(keys) == {
        ("4711", "created"), ("4711 line 1", "created"), ("4711 line 2", "created"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"number": "  "}, "empty_text"),
        ({"vendor": ""}, "empty_text"),
        ({"ordered_on": date(2026, 11, 26)}, "in_the_future"),
        ({"due_on": date(2026, 11, 19)}, "due_before_ordered"),
    ],
)
def test_an_order_that_cannot_be_is_refused(
    fields: dict[str, Any], code: str, world: World, engineer: Person
) -> None:
    with pytest.raises(ToolingError, match=code):
        order(engineer, world, **fields)
    assert not Purchase.objects.exists()


def test_a_number_is_given_once_and_an_attendant_orders_nothing(
    world: World, engineer: Person, attendant: Person
) -> None:
    order(engineer, world, number="po-1")
    with pytest.raises(ToolingError, match="already_there"):
        order(engineer, world, number="PO-1")
    with pytest.raises(NotAllowed):
        order(attendant, world)


def test_a_line_that_cannot_be_is_refused_and_the_whole_order_with_it(
    world: World, engineer: Person, revision: DrawingRevision
) -> None:
    other = world.copy(world.tool_set("T-9", {(1, "top", 1): world.drawing("R-9")}))
    own = world.copy(world.tool_set("T-1", {(1, "top", 1): revision.drawing}))
    for line, code in (
        (LineIn(revision, 0), "absurd_quantity"),
        (LineIn(revision, 501), "absurd_quantity"),
        (LineIn(revision, 1_000_001, is_counted=True), "absurd_quantity"),
        (LineIn(revision, 1, set_copy=other), "other_set"),
        (LineIn(revision, 1, set_copy=own, is_counted=True), "counted_has_no_copy"),
    ):
        with pytest.raises(ToolingError, match=code):
            order(engineer, world, LineIn(revision, 1), line)
    assert not Purchase.objects.exists()


def test_an_old_revision_is_ordered_only_for_a_reason(
    world: World, engineer: Person, revision: DrawingRevision
) -> None:
    drawings.new_revision(
        by=engineer, at=world.at, drawing=revision.drawing, revision="B", old_pieces="as_is"
    )
    old = DrawingRevision.objects.get(pk=revision.pk)
    with pytest.raises(ToolingError) as asked:
        order(engineer, world, LineIn(old, 1))
    assert (asked.value.code, asked.value.values["asks"]) == ("old_revision", "reason")
    order(engineer, world, LineIn(old, 1, reason="the mill still runs A"))
    assert Change.objects.get(subject="PurchaseLine").after["reason"] == "the mill still runs A"


def test_what_came_keeps_its_revision_and_its_number(
    world: World, engineer: Person, attendant: Person, revision: DrawingRevision
) -> None:
    purchase, at, rack = order(engineer, world, LineIn(revision, 4)), world.at, world.place("Rack")
    row = purchase.lines.get()
    receipt = receiving.receive_piece(by=attendant, at=at, line=row, place=rack)
    other = world.drawing("R-2").revisions.get()
    for line, code in (
        (LineIn(other, 4), "line_received"),
        (LineIn(revision, 4, is_counted=True), "line_received"),
    ):
        with pytest.raises(ToolingError, match=code):
            purchases.edit_line(by=engineer, at=at, row=row, line=line)
    with pytest.raises(ToolingError, match="line_received"):
        purchases.remove_line(by=engineer, at=at, row=row)
    with pytest.raises(ToolingError, match="owner_stays"):
        purchases.edit_purchase(
            by=engineer,
            at=at,
            purchase=purchase,
            owner=Owner.objects.create(code="QUIL", name="Quill"),
        )
    purchases.edit_line(by=engineer, at=at, row=row, line=LineIn(revision, 1, mark="R-1"))
    row.refresh_from_db()
    assert (row.quantity, row.mark) == (1, "R-1")
    receiving.take_back(by=attendant, at=at, receipt=receipt)
    purchases.edit_line(by=engineer, at=at, row=row, line=LineIn(other, 3))
    with pytest.raises(ToolingError, match="line_received"):
        purchases.remove_line(by=engineer, at=at, row=row)


def test_short_it_closes_only_for_a_reason_and_opens_again(
    world: World, engineer: Person, attendant: Person, at: datetime, revision: DrawingRevision
) -> None:
    purchase = order(engineer, world, LineIn(revision, 4))
    with pytest.raises(ToolingError) as asked:
        purchases.close(by=engineer, at=at, purchase=purchase)
    assert (asked.value.code, asked.value.values["count"]) == ("order_short", 4)
    purchases.close(by=engineer, at=at, purchase=purchase, reason="the vendor has given up")
    with pytest.raises(ToolingError, match="order_closed"):
        receiving.receive_piece(
            by=attendant, at=at, line=purchase.lines.get(), place=world.place("Rack")
        )
    with pytest.raises(ToolingError, match="order_closed"):
        purchases.add_line(by=engineer, at=at, purchase=purchase, line=LineIn(revision, 1))
    purchases.reopen(by=engineer, at=at, purchase=purchase)
    purchase.refresh_from_db()
    assert purchase.is_open
    whats = Change.objects.filter(subject="Purchase").order_by("pk").values_list("what", flat=True)
    assert list(whats) == ["created", "closed", "reopened"]


def test_a_line_that_nothing_came_against_is_taken_away(
    world: World, engineer: Person, revision: DrawingRevision
) -> None:
    purchase = order(engineer, world, LineIn(revision, 4), LineIn(revision, 1))
    purchases.remove_line(by=engineer, at=world.at, row=purchase.lines.get(line=1))
    added = purchases.add_line(
        by=engineer, at=world.at, purchase=purchase, line=LineIn(revision, 9)
    )
    assert (added.line, purchase.lines.count()) == (3, 2)
