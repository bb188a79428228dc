"""Indexes of the ledger and of pieces that nothing asks for, and others that hold only what counts.

Only indexes change. On SQLite altering a field writes its whole table anew, once for each field; so
the state is told of the fields and the indexes are dropped by themselves.
"""

from typing import Any

import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

DROPPED = {
    "tooling_movement": (
        "by_id", "cart_id", "device_id", "from_seen_id", "kit_id", "piece_id", "stock_id",
        "stock_to_id",
    ),
    "tooling_piece": ("placed_by_id", "drawing_id", "owner_id", "mark", "mark_key"),
}  # fmt: skip
NAMED = ("movement_", "piece_")
"""How indexes begin that the models name themselves; these stay."""


def _drop(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
    connection = editor.connection
    for table, columns in DROPPED.items():
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, table)
        for name, rule in found.items():
            plain = rule["index"] and not rule["unique"] and len(rule["columns"]) == 1
            if plain and rule["columns"][0] in columns and not name.startswith(NAMED):
                editor.execute(f"DROP INDEX {editor.quote_name(name)}")


def _make_again(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
    for table, columns in DROPPED.items():
        for column in columns:
            name = f"{table}_{column}_again"
            editor.execute(f"CREATE INDEX {name} ON {table} ({column})")


class Migration(migrations.Migration):
    dependencies = [
        ("tooling", "0003_wear_and_release"),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name="movement",
            name="movement_of_cart",
        ),
        migrations.RemoveIndex(
            model_name="movement",
            name="movement_of_stock",
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[migrations.RunPython(_drop, _make_again)],
            state_operations=[
                migrations.AlterField(
                    model_name="movement",
                    name="by",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                migrations.AlterField(
                    model_name="movement",
                    name="cart",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="journeys",
                        to="tooling.place",
                    ),
                ),
                migrations.AlterField(
                    model_name="movement",
                    name="device",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.device",
                    ),
                ),
                migrations.AlterField(
                    model_name="movement",
                    name="from_seen",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.place",
                    ),
                ),
                migrations.AlterField(
                    model_name="movement",
                    name="kit",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="movements",
                        to="tooling.kit",
                    ),
                ),
                migrations.AlterField(
                    model_name="movement",
                    name="piece",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="movements",
                        to="tooling.piece",
                    ),
                ),
                migrations.AlterField(
                    model_name="movement",
                    name="stock",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="movements",
                        to="tooling.stockline",
                    ),
                ),
                migrations.AlterField(
                    model_name="movement",
                    name="stock_to",
                    field=models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="arrivals",
                        to="tooling.stockline",
                    ),
                ),
                migrations.AlterField(
                    model_name="piece",
                    name="placed_by",
                    field=models.ForeignKey(
                        blank=True,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.movement",
                    ),
                ),
                migrations.AlterField(
                    model_name="piece",
                    name="drawing",
                    field=models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pieces",
                        to="tooling.drawing",
                    ),
                ),
                migrations.AlterField(
                    model_name="piece",
                    name="owner",
                    field=models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pieces",
                        to="tooling.owner",
                    ),
                ),
                migrations.AlterField(
                    model_name="piece",
                    name="mark",
                    field=models.CharField(blank=True, max_length=40),
                ),
                migrations.AlterField(
                    model_name="piece",
                    name="mark_key",
                    field=models.GeneratedField(
                        db_persist=True,
                        expression=django.db.models.functions.text.Upper("mark"),
                        output_field=models.CharField(max_length=40),
                    ),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="piece",
            index=models.Index(
                fields=["mark_key"], name="piece_mark_begins", opclasses=["varchar_pattern_ops"]
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(
                condition=models.Q(("cart__isnull", False)),
                fields=["cart", "-effective_at"],
                name="movement_of_cart",
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(
                condition=models.Q(("stock__isnull", False)),
                fields=["stock", "-effective_at"],
                name="movement_of_stock",
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(
                condition=models.Q(("stock_to__isnull", False)),
                fields=["stock_to"],
                name="movement_to_stock",
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(
                condition=models.Q(("kit__isnull", False)), fields=["kit"], name="movement_for_kit"
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(fields=["by", "-received_at", "-id"], name="movement_by_person"),
        ),
    ]
