"""Reads whose SQL is built once give what their QuerySets give, whatever is asked in what order."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from tooling.models import Movement, Person, Piece, Place
from tooling.queries.prepared import Prepared, columns, hot_cursor, made, one_trip

pytestmark = pytest.mark.django_db
MANY = 132


@pytest.fixture(scope="module")
def standing_pieces(standing_world):
    rack, drawing = standing_world.place("Rack"), standing_world.drawing("D1")
    return [standing_world.piece(drawing, rack, mark=f"M{n}") for n in range(MANY)]


@pytest.fixture
def pieces(standing, standing_pieces):
    return standing.copy(standing_pieces)


BY_CODE = Prepared(
    lambda codes: Piece.objects.filter(code__in=codes).order_by("code").values_list(
        "code", "pk", "seen_at", "place__name"
    )
)  # fmt: skip


@pytest.mark.parametrize("count", [0, 1, 2, 7, 33, MANY])
def test_it_gives_what_the_queryset_gives(pieces, count) -> None:
    for few in (pieces[:count], pieces[-count:] if count else []):
        codes = [piece.code for piece in few]
        assert BY_CODE(codes) == list(BY_CODE.build(codes)) if codes else BY_CODE(codes) == []
        assert [row[0] for row in BY_CODE(codes)] == codes


def test_a_value_asked_twice_is_given_once(pieces) -> None:
    code = pieces[0].code
    assert len(BY_CODE([code, code])) == 1


def test_what_looks_like_sql_or_a_mark_is_a_value(pieces) -> None:
    for odd in ("' OR 1=1 --", "%s", "\x020\x02", "100%"):
        assert BY_CODE([odd]) == []
    assert len(BY_CODE([pieces[0].code])) == 1


def test_nothing_is_asked_for_nothing_and_once_for_the_rest(pieces) -> None:
    with CaptureQueriesContext(connection) as seen:
        assert BY_CODE([]) == []
    assert not seen
    with CaptureQueriesContext(connection) as seen:
        BY_CODE([pieces[1].code])
    assert len(seen) == 1


def test_keys_and_times_come_back_as_what_they_are(pieces, at) -> None:
    by_key = Prepared(
        lambda keys: Movement.objects.filter(uuid__in=keys).values_list("uuid", "effective_at")
    )
    row = Movement.objects.filter(piece=pieces[3]).get()
    assert by_key([row.uuid, uuid.uuid4()]) == [(row.uuid, at - timedelta(days=1))]


def test_a_read_without_values_sees_the_present(world, pieces) -> None:
    names = Prepared(lambda: Place.objects.order_by("name").values_list("name"))
    assert names() == [("Rack",)]
    world.place("Shelf")
    assert names() == [("Rack",), ("Shelf",)]


def test_two_lists_go_where_they_belong(pieces) -> None:
    both = Prepared(
        lambda codes, marks: Piece.objects.filter(code__in=codes, mark__in=marks).values_list("pk")
    )
    codes, marks = [p.code for p in pieces[:3]], [p.mark for p in pieces[2:5]]
    assert both(codes, marks) == [(pieces[2].pk,)]
    assert both(marks, codes) == []


def test_an_instance_of_a_row_is_the_record(crew) -> None:
    rows = Prepared(lambda ids: Person.objects.filter(pk__in=ids).values_list(*columns(Person)))
    [row] = rows([crew.pk])
    person = made(Person, row)
    assert (person, person.username, person.role_set) == (crew, "crew", crew.role_set)
    person.name = "Other"
    person.save(update_fields=["name"])
    assert Person.objects.get(pk=crew.pk).name == "Other"


def test_a_value_that_the_statement_holds_in_another_form_is_refused(pieces) -> None:
    begins = Prepared(
        lambda codes: Piece.objects.filter(code__startswith=codes[0]).values_list("pk")
    )
    with pytest.raises(AssertionError):
        begins(["R00"])


def test_what_is_asked_in_one_trip_is_answered_as_if_asked_alone(pieces) -> None:
    """Each sees what was written before it in the trip, and nothing of what came after."""
    names = Prepared(lambda ids: Piece.objects.filter(pk__in=ids).values_list("mark"))
    first, second = pieces[0], pieces[1]
    update = "UPDATE tooling_piece SET mark = %s WHERE id = %s"
    with transaction.atomic(), one_trip():
        before = names.ask([first.pk])
        with hot_cursor(connection) as cursor:
            cursor.execute(update, ["changed", first.pk])
        with one_trip():
            between = names.ask([first.pk])
            both = names.ask([second.pk, first.pk])
        with hot_cursor(connection) as cursor:
            cursor.execute(update, ["again", first.pk])
    assert [before.rows(), between.rows()] == [[("M0",)], [("changed",)]]
    assert sorted(both.rows()) == [("M1",), ("changed",)]
    assert names([first.pk]) == [("again",)]


def test_an_error_in_a_trip_is_the_databases_own_and_keeps_nothing_of_it(pieces) -> None:
    names = Prepared(lambda ids: Piece.objects.filter(pk__in=ids).values_list("mark"))
    update = "UPDATE tooling_piece SET mark = %s, place_id = %s WHERE id = %s"

    def go() -> None:
        with transaction.atomic(), one_trip():
            for mark, place in (("changed", pieces[0].place_id), ("other", None)):
                with hot_cursor(connection) as cursor:
                    cursor.execute(update, [mark, place, pieces[0].pk])
            names.ask([pieces[0].pk])

    with pytest.raises(IntegrityError):
        go()
    assert names([pieces[0].pk]) == [("M0",)]
    with one_trip():
        asked = names.ask([pieces[1].pk])
    assert asked.rows() == asked.rows() == [("M1",)]
