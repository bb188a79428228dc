"""Which models are history, and the triggers that keep history append-only.

A guard in Python is passed by raw SQL, by plain querysets and by cascades; a trigger is not.
Altering a table on SQLite silently drops its triggers, so they are made anew after every
migrate. ``INSERT OR REPLACE`` passes a delete trigger on SQLite unless
``PRAGMA recursive_triggers=ON`` (see settings); PostgreSQL needs a statement trigger for TRUNCATE.
"""

from __future__ import annotations

from typing import Any

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model

from tooling import models

HISTORY: tuple[type[Model], ...] = (
    models.Change,
    models.Movement,
    models.RefusedScan,
    models.LabelEvent,
    models.Reading,
    models.LengthEntry,
    models.Work,
    models.WorkMeasure,
    models.DueBack,
    models.Picture,
    models.Incident,
    models.IncidentPiece,
    models.Approval,
    models.ApprovalPiece,
    models.OwnerReport,
    models.ReportNote,
    models.OwnerMarkCheck,
    models.CountEntry,
    models.Receipt,
    models.Inspection,
    models.ShaftMount,
    models.AsSet,
    models.PartCheck,
    models.SetupStep,
    models.Delay,
    models.Run,
    models.RunPiece,
    models.CounterReading,
    models.StripMeasure,
    models.RegrindOrderWork,
    models.OrderEvent,
)

CURRENT: tuple[type[Model], ...] = (
    models.Shop,
    models.Person,
    models.PersonRole,
    models.Owner,
    models.Place,
    models.Device,
    models.Setting,
    models.Drawing,
    models.DrawingRevision,
    models.Piece,
    models.PieceAlias,
    models.StockLine,
    models.Mill,
    models.DriveGroup,
    models.Station,
    models.MillShaft,
    models.ToolSet,
    models.SetVariant,
    models.SetPass,
    models.SetPosition,
    models.SetCopy,
    models.Allotment,
    models.SetupChart,
    models.ChartPass,
    models.Job,
    models.Kit,
    models.KitPosition,
    models.Gauge,
    models.StoredFile,
    models.DrawingFile,
    models.Task,
    models.ImportMapping,
    models.Import,
    models.ImportFile,
    models.Counter,
    models.DrawingFeature,
    models.Count,
    models.CountLine,
    models.Purchase,
    models.PurchaseLine,
    models.SetFill,
    models.ChartAxis,
    models.Setup,
    models.Characteristic,
    models.KitFill,
    models.MillRule,
    models.GaugePoint,
    models.WearPool,
    models.WearState,
    models.RegrindPlan,
    models.RegrindPlanCopy,
    models.RegrindPlanLine,
    models.RegrindOrder,
    models.RegrindOrderLine,
    models.RegrindTarget,
    models.Badge,
    models.Contradiction,
)

REFUSAL = "history is never changed"


def install_after_migrate(using: str = "default", **kwargs: Any) -> None:
    """Make the triggers of every history table anew. Connected to ``post_migrate``."""
    connection = connections[using]
    present = set(connection.introspection.table_names())
    for model in HISTORY:
        if model._meta.db_table in present:
            _run(connection, _drop_sql(connection, model) + _create_sql(connection, model))


def remove(using: str = "default") -> None:
    """Take the triggers away: for a restore into an empty database, and for tests that flush."""
    connection = connections[using]
    present = set(connection.introspection.table_names())
    for model in HISTORY:
        if model._meta.db_table in present:
            _run(connection, _drop_sql(connection, model))


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _create_sql(connection: BaseDatabaseWrapper, model: type[Model]) -> list[str]:
    table = model._meta.db_table
    if connection.vendor == "sqlite":
        return [
            f'CREATE TRIGGER "{table}_no_{verb.lower()}" BEFORE {verb} ON "{table}" '
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            for verb in ("UPDATE", "DELETE")
        ]
    function = (
        "CREATE OR REPLACE FUNCTION rollroom_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'integrity_constraint_violation'; "
        "END $$"
    )
    return [
        function,
        f'CREATE TRIGGER "{table}_no_change" BEFORE UPDATE OR DELETE ON "{table}" '
        "FOR EACH ROW EXECUTE FUNCTION rollroom_refuse()",
        f'CREATE TRIGGER "{table}_no_truncate" BEFORE TRUNCATE ON "{table}" '
        "FOR EACH STATEMENT EXECUTE FUNCTION rollroom_refuse()",
    ]


def _drop_sql(connection: BaseDatabaseWrapper, model: type[Model]) -> list[str]:
    table = model._meta.db_table
    if connection.vendor == "sqlite":
        return [f'DROP TRIGGER IF EXISTS "{table}_no_{verb}"' for verb in ("update", "delete")]
    return [
        f'DROP TRIGGER IF EXISTS "{table}_no_{verb}" ON "{table}"'
        for verb in ("change", "truncate")
    ]
