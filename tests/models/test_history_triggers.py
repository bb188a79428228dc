"""Raw SQL against history, past Django and every service: the database itself refuses."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.db.models import Model

from tests.world import MM, World
from tooling import history, models

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TABLES = [model._meta.db_table for model in history.HISTORY]


@pytest.fixture(scope="module")
def rows(standing_world: World) -> dict[str, Model]:
    """One row in every history table, by table."""
    world = standing_world
    piece = world.piece(world.drawing("D1"), world.place("Rack A"))
    when = {"happened_at": AT, "received_at": AT}
    work = models.Work.objects.create(
        piece=piece, kind="regrind", done_on=date(2026, 11, 24), received_at=AT
    )
    made: list[Model] = [
        models.Movement.objects.get(piece=piece),
        models.Change.objects.create(at=AT, subject="Piece", subject_key=piece.code, what="edited"),
        models.RefusedScan.objects.create(
            uuid="0b0e1f52-8f57-4a86-9f0a-1c9f0f4d1a01",
            scan="0b0e1f52-8f57-4a86-9f0a-1c9f0f4d1a01",
            effective_at=AT,
            code_read="?",
            how="scan",
            error_code="unknown_code",
            message="?",
            **when,
        ),
        models.LabelEvent.objects.create(at=AT, code=piece.code, what="issue"),
        models.Reading.objects.create(
            piece=piece, dimension="bore", value_nm=60 * MM, unit="mm", **when
        ),
        models.LengthEntry.objects.create(piece=piece, length_nm=1, **when),
        work,
        models.WorkMeasure.objects.create(work=work, dimension="bore", after_nm=60 * MM),
        *of_owners_and_incidents(world, piece),
        *of_counts_and_purchases(world, piece),
        *of_setups(world, piece),
        *of_orders(piece, work),
    ]
    return {row._meta.db_table: row for row in made}


def of_setups(world: World, piece: models.Piece) -> list[Model]:
    tool_set = models.ToolSet.objects.create(code="T000000A", number="S1", name="Section 1")
    mill = models.Mill.objects.create(
        number="M1", name="Mill 1", datum="shoulder", hand="left", operator_side="right"
    )
    job = models.Job.objects.create(
        number="J1", tool_set=tool_set, mill=mill, starts_at=AT, gathers_at=AT
    )
    kit = models.Kit.objects.create(number="K000000A", job=job)
    setup = models.Setup.objects.create(kit=kit, mill=mill, started_at=AT)
    angle = models.Characteristic.objects.create(tool_set=tool_set, name="Angle", unit="°")
    said: dict[str, Any] = {"setup": setup, "happened_at": AT, "received_at": AT}
    return [
        models.ShaftMount.objects.create(
            station_number=1, shaft="top", what=models.ShaftAct.MOUNTED, **said
        ),
        models.AsSet.objects.create(station_number=1, value_nm=MM, unit="mm", **said),
        models.PartCheck.objects.create(characteristic=angle, value=90.0, is_good=True, **said),
        models.SetupStep.objects.create(what=models.StepKind.STOPPED, **said),
        models.Delay.objects.create(cause=models.DelayCause.STRIP, minutes=5, **said),
        models.StripMeasure.objects.create(thickness_nm=MM, **said),
        models.CounterReading.objects.create(
            mill=mill, value_nm=MM, happened_at=AT, received_at=AT
        ),
        *of_a_run(piece, said),
    ]


def of_a_run(piece: models.Piece, said: dict[str, Any]) -> list[Model]:
    run = models.Run.objects.create(length_nm=MM, way="counter", **said)
    entry = models.LengthEntry.objects.create(
        piece=piece, length_nm=MM, happened_at=AT, received_at=AT
    )
    return [run, models.RunPiece.objects.create(run=run, entry=entry)]


def of_orders(piece: models.Piece, work: models.Work) -> list[Model]:
    order = models.RegrindOrder.objects.create(number="RO 1", requested_at=AT)
    line = models.RegrindOrderLine.objects.create(order=order, piece=piece)
    return [
        models.RegrindOrderWork.objects.create(line=line, work=work),
        models.OrderEvent.objects.create(order=order, what="requested", at=AT),
    ]


def of_owners_and_incidents(world: World, piece: models.Piece) -> list[Model]:
    incident = models.Incident.objects.create(kind="drop", happened_at=AT, at=AT)
    file = models.StoredFile.objects.create(
        sha256="0" * 64, content_type="image/jpeg", size=1, stored_at=AT
    )
    approval = models.Approval.objects.create(
        owner=world.shop, kind="regrind", answer="asked", dated_on=AT.date(), at=AT
    )
    report = models.OwnerReport.objects.create(
        owner=world.shop, piece=piece, kind="loss", what_happened="not on its shelf", opened_at=AT
    )
    return [
        incident,
        models.IncidentPiece.objects.create(
            incident=incident, piece=piece, condition_before="sound", condition_after="dirty"
        ),
        models.Picture.objects.create(file=file, small=file, width=2, height=1, piece=piece, at=AT),
        approval,
        models.ApprovalPiece.objects.create(approval=approval, piece=piece),
        report,
        models.ReportNote.objects.create(
            report=report, what="told", happened_at=AT, at=AT, whom="tooling desk"
        ),
        models.OwnerMarkCheck.objects.create(piece=piece, is_there=True, checked_at=AT, at=AT),
    ]


def of_counts_and_purchases(world: World, piece: models.Piece) -> list[Model]:
    movement = models.Movement.objects.get(piece=piece)
    count = models.Count.objects.create(number=1, place=piece.place, opened_at=AT)
    purchase = models.Purchase.objects.create(
        number="PO 1", vendor="a grinder", owner=world.shop, ordered_on=AT.date()
    )
    line = models.PurchaseLine.objects.create(
        purchase=purchase, line=1, revision=piece.revision, quantity=1
    )
    receipt = models.Receipt.objects.create(line=line, piece=piece, happened_at=AT, at=AT)
    return [
        models.DueBack.objects.create(movement=movement, due_on=AT.date(), at=AT),
        models.CountEntry.objects.create(
            count=count, piece=piece, how="tick", happened_at=AT, at=AT
        ),
        receipt,
        models.Inspection.objects.create(receipt=receipt, verdict="accepted", at=AT),
    ]


def attack(sql: str, *values: object) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)


def attack_and_check(sql: str, *values: object) -> None:
    """As at the end of the transaction, when deferred constraints are looked at."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)
        connection.check_constraints()


def as_it_is(table: str) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} ORDER BY id")
        return list(cursor.fetchall())


def test_there_is_a_row_to_attack_in_every_history_table(rows) -> None:
    assert set(rows) == set(TABLES)


@pytest.mark.parametrize("table", TABLES)
def test_an_update_is_refused(rows, table) -> None:
    before = as_it_is(table)
    with pytest.raises(DatabaseError, match="history is never changed"):
        attack(f"UPDATE {table} SET id = id WHERE id = %s", rows[table].pk)
    assert as_it_is(table) == before


@pytest.mark.parametrize("table", TABLES)
def test_a_delete_is_refused(rows, table) -> None:
    before = as_it_is(table)
    with pytest.raises(DatabaseError):
        attack(f"DELETE FROM {table} WHERE id = %s", rows[table].pk)
    assert as_it_is(table) == before


@pytest.mark.parametrize("table", TABLES)
def test_all_rows_at_once_are_refused(rows, table) -> None:
    before = as_it_is(table)
    with pytest.raises(DatabaseError):
        attack(f"DELETE FROM {table}")
    with pytest.raises(DatabaseError):
        attack(f"UPDATE {table} SET id = id + 1000")
    assert as_it_is(table) == before


@pytest.mark.parametrize("table", TABLES)
def test_a_row_put_in_the_place_of_another_is_refused(rows, table) -> None:
    """REPLACE on SQLite and ON CONFLICT DO UPDATE on both."""
    columns = ", ".join(f'"{name}"' for name in column_names(table) if name != "id")
    before = as_it_is(table)
    attacks = [
        f"INSERT INTO {table} (id, {columns}) SELECT id, {columns} FROM {table} WHERE id = %s "
        "ON CONFLICT (id) DO UPDATE SET id = excluded.id"
    ]
    if connection.vendor == "sqlite":
        attacks.append(f"REPLACE INTO {table} SELECT * FROM {table} WHERE id = %s")
        attacks.append(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} WHERE id = %s")
        attacks.append(f"UPDATE OR REPLACE {table} SET id = id WHERE id = %s")
    for sql in attacks:
        with pytest.raises(DatabaseError, match=r"history is never changed|violates|constraint"):
            attack(sql, rows[table].pk)
    assert as_it_is(table) == before


def column_names(table: str) -> list[str]:
    with connection.cursor() as cursor:
        return [info.name for info in connection.introspection.get_table_description(cursor, table)]


@pytest.mark.parametrize("table", TABLES)
def test_emptying_a_table_is_refused(rows, table) -> None:
    """TRUNCATE passes row triggers on PostgreSQL; SQLite has only DELETE without a condition."""
    before = as_it_is(table)
    sql = (
        f"TRUNCATE {table} CASCADE" if connection.vendor == "postgresql" else f"DELETE FROM {table}"
    )
    with pytest.raises(DatabaseError):
        attack(sql)
    assert as_it_is(table) == before


def test_a_queryset_and_a_cascade_are_refused_too(rows) -> None:
    movements = models.Movement.objects.all()
    with pytest.raises(DatabaseError), transaction.atomic():
        movements.update(note="nothing happened")
    with pytest.raises(DatabaseError), transaction.atomic():
        movements._raw_delete(using="default")
    assert movements.get().note == ""


def test_what_history_names_cannot_be_deleted(rows) -> None:
    piece = models.Piece.objects.get()
    with pytest.raises(DatabaseError):
        attack_and_check("DELETE FROM tooling_piece WHERE id = %s", piece.pk)
    assert models.Piece.objects.get() == piece


def test_a_movement_needs_one_subject_and_a_time_not_after_it_was_received(rows) -> None:
    movement = models.Movement.objects.get()
    both = {"happened_at": AT, "received_at": AT, "how": "tick", "to": movement.to}
    wrong = [
        models.Movement(effective_at=AT, **both),
        models.Movement(effective_at=AT, piece=movement.piece, cart=movement.to, **both),
        models.Movement(effective_at=AT.replace(hour=10), piece=movement.piece, **both),
        models.Movement(effective_at=AT, piece=movement.piece, quantity=0, **both),
    ]
    for row in wrong:
        with pytest.raises(DatabaseError), transaction.atomic():
            row.save()
    assert models.Movement.objects.count() == 1


def test_a_migrate_puts_the_triggers_back(rows) -> None:
    history.remove()
    history.install_after_migrate()
    with pytest.raises(DatabaseError, match="history is never changed"):
        attack("UPDATE tooling_movement SET note = 'gone'")


def test_the_triggers_say_in_sql_what_they_refuse() -> None:
    """Whoever looks into the database finds the sentence there."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT prosrc FROM pg_proc WHERE proname = 'rollroom_refuse'")
        found = [row[0] for row in cursor.fetchall()]
    assert found
    assert all(re.search(history.REFUSAL, sql) for sql in found)
