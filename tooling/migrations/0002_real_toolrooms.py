"""Owners, incidents, pictures, counts, purchases, homes, due dates; fills and setups."""

import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import tooling.models.fields

STROKES_WRITTEN_DOWN_BEFORE = """
UPDATE tooling_piece SET strokes_run = COALESCE((
    SELECT SUM(e.strokes) FROM tooling_lengthentry e WHERE e.piece_id = tooling_piece.id
    AND NOT EXISTS (SELECT 1 FROM tooling_lengthentry c WHERE c.corrects_id = e.id)
), 0)
"""


class Migration(migrations.Migration):
    dependencies = [
        ("tooling", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Approval",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                (
                    "owner",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="approvals",
                        to="tooling.owner",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("other_jobs", "use in other jobs"),
                            ("regrind", "regrind"),
                            ("transfer", "transfer away"),
                            ("scrap", "scrap"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "answer",
                    models.CharField(
                        choices=[
                            ("asked", "asked, no answer yet"),
                            ("given", "given"),
                            ("refused", "refused"),
                            ("withdrawn", "withdrawn"),
                        ],
                        max_length=9,
                    ),
                ),
                (
                    "reference",
                    models.CharField(blank=True, help_text="Letter, order, mail.", max_length=120),
                ),
                (
                    "answered_by",
                    models.CharField(blank=True, help_text="Who, at the owner's.", max_length=120),
                ),
                ("dated_on", models.DateField(help_text="The date on the letter.")),
                ("until", models.DateField(blank=True, null=True)),
                (
                    "file",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.storedfile",
                    ),
                ),
                ("file_name", models.CharField(blank=True, max_length=160)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
            ],
            options={
                "indexes": [models.Index(fields=["owner", "kind", "at"], name="approval_of_owner")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("answer", "given"), _negated=True),
                            models.Q(("reference", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="given_approval_has_a_reference",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Characteristic",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "tool_set",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="characteristics",
                        to="tooling.toolset",
                    ),
                ),
                ("order", models.PositiveSmallIntegerField(default=1)),
                ("name", models.CharField(max_length=80)),
                ("unit", models.CharField(default="mm", max_length=12)),
                ("nominal_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("least_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("most_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("nominal", models.FloatField(blank=True, null=True)),
                ("least", models.FloatField(blank=True, null=True)),
                ("most", models.FloatField(blank=True, null=True)),
            ],
            options={
                "ordering": ["tool_set", "order", "name"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("tool_set", "name"), name="characteristic_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("least_nm", None),
                            ("most_nm", None),
                            ("least_nm__lte", models.F("most_nm")),
                            _connector="OR",
                        ),
                        name="characteristic_lengths_in_order",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("least", None),
                            ("most", None),
                            ("least__lte", models.F("most")),
                            _connector="OR",
                        ),
                        name="characteristic_in_order",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="ChartAxis",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "chart_pass",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="axes",
                        to="tooling.chartpass",
                    ),
                ),
                ("name", models.CharField(max_length=60)),
                ("unit", models.CharField(max_length=12)),
                ("target_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("target", models.FloatField(blank=True, null=True)),
            ],
            options={
                "ordering": ["chart_pass", "name"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("chart_pass", "name"), name="axis_once_per_pass"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("target_nm", None), ("target", None), _connector="OR"),
                        name="axis_has_one_target",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Count",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.PositiveIntegerField(unique=True)),
                (
                    "place",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="counts",
                        to="tooling.place",
                    ),
                ),
                (
                    "set_copy",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="counts",
                        to="tooling.setcopy",
                    ),
                ),
                (
                    "owner",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="counts",
                        to="tooling.owner",
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("open", "being counted"),
                            ("closed", "closed"),
                            ("dropped", "dropped"),
                        ],
                        default="open",
                        max_length=7,
                    ),
                ),
                ("version", models.PositiveBigIntegerField(default=1)),
                ("opened_at", models.DateTimeField()),
                (
                    "opened_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("closed_at", models.DateTimeField(null=True)),
                (
                    "closed_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("expected", models.PositiveIntegerField(default=0)),
                ("found", models.PositiveIntegerField(default=0)),
                ("missing", models.PositiveIntegerField(default=0)),
                ("extra", models.PositiveIntegerField(default=0)),
                ("note", models.CharField(blank=True, max_length=400)),
            ],
            options={
                "ordering": ["-number"],
                "indexes": [models.Index(fields=["state", "number"], name="count_state")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("owner", None), ("place__isnull", False), ("set_copy", None)),
                            models.Q(("owner", None), ("place", None), ("set_copy__isnull", False)),
                            models.Q(("owner__isnull", False), ("place", None), ("set_copy", None)),
                            _connector="OR",
                        ),
                        name="count_has_one_subject",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "closed"), _negated=True),
                            ("closed_at__isnull", False),
                            _connector="OR",
                        ),
                        name="closed_count_has_a_time",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="DrawingFeature",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="features",
                        to="tooling.drawingrevision",
                    ),
                ),
                ("order", models.PositiveSmallIntegerField()),
                (
                    "shape",
                    models.CharField(
                        choices=[
                            ("round", "round hole"),
                            ("slot", "slot"),
                            ("rectangle", "rectangle"),
                            ("notch", "notch"),
                            ("louvre", "louvre"),
                            ("emboss", "emboss"),
                            ("cut", "cut-off"),
                            ("other", "other"),
                        ],
                        max_length=12,
                    ),
                ),
                ("name", models.CharField(blank=True, max_length=60)),
                ("width_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("length_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("note", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "ordering": ["revision", "order"],
                "constraints": [
                    models.UniqueConstraint(fields=("revision", "order"), name="feature_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("width_nm", None), ("width_nm__gt", 0), _connector="OR"),
                            models.Q(("length_nm", None), ("length_nm__gt", 0), _connector="OR"),
                        ),
                        name="feature_sizes_positive",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="DueBack",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "movement",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="due_backs",
                        to="tooling.movement",
                    ),
                ),
                ("due_on", models.DateField(help_text="Empty: no date any more.", null=True)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "indexes": [models.Index(fields=["movement", "at"], name="due_back_of_movement")],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Incident",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("crash", "crash"),
                            ("double_feed", "double feed"),
                            ("drop", "drop"),
                            ("build_up", "build-up"),
                            ("crack", "crack"),
                            ("chip", "chip"),
                            ("other", "something else"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "mill",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="incidents",
                        to="tooling.mill",
                    ),
                ),
                (
                    "kit",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="incidents",
                        to="tooling.kit",
                    ),
                ),
                ("station_number", models.PositiveSmallIntegerField(null=True)),
                ("pass_number", models.PositiveSmallIntegerField(null=True)),
                ("happened_at", models.DateTimeField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.incident",
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
            ],
            options={
                "indexes": [models.Index(fields=["mill", "happened_at"], name="incident_on_mill")],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="KitFill",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kit",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="fill_answer",
                        to="tooling.kit",
                    ),
                ),
                ("solved_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("is_proven", models.BooleanField(default=False)),
                ("said", models.JSONField(default=dict)),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="MillRule",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "mill",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="rules",
                        to="tooling.mill",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("first", "runs first after a clean"),
                            ("last", "runs last"),
                            ("thicker", "thin before thick"),
                            ("apart", "never straight after"),
                        ],
                        max_length=7,
                    ),
                ),
                ("first", models.CharField(blank=True, max_length=40)),
                ("then", models.CharField(blank=True, max_length=40)),
            ],
            options={
                "ordering": ["mill", "kind", "first", "then"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("mill", "kind", "first", "then"), name="mill_rule_once"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Purchase",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.CharField(max_length=30, unique=True)),
                ("vendor", models.CharField(max_length=120)),
                (
                    "owner",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="purchases",
                        to="tooling.owner",
                    ),
                ),
                ("ordered_on", models.DateField()),
                ("due_on", models.DateField(blank=True, null=True)),
                ("is_open", models.BooleanField(default=True)),
                ("note", models.CharField(blank=True, max_length=400)),
            ],
            options={
                "ordering": ["-ordered_on", "number"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="SetFill",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "set_pass",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="fills",
                        to="tooling.setpass",
                    ),
                ),
                (
                    "shaft",
                    models.CharField(choices=[("top", "top"), ("bottom", "bottom")], max_length=6),
                ),
                ("after_order", models.PositiveSmallIntegerField()),
                ("length_nm", tooling.models.fields.LengthField()),
                (
                    "below_nm",
                    tooling.models.fields.LengthField(
                        default=0, help_text="How much shorter it may be."
                    ),
                ),
                (
                    "above_nm",
                    tooling.models.fields.LengthField(
                        default=0, help_text="How much longer it may be."
                    ),
                ),
                (
                    "outside_most_nm",
                    tooling.models.fields.LengthField(
                        blank=True,
                        help_text="Spacers here clear everything up to this outside diameter.",
                        null=True,
                    ),
                ),
            ],
            options={
                "ordering": ["set_pass", "shaft", "after_order"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("set_pass", "shaft", "after_order"),
                        name="one_fill_between_two_rolls",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("above_nm__gte", 0),
                            ("after_order__gt", 0),
                            ("below_nm__gte", 0),
                            ("length_nm__gt", 0),
                        ),
                        name="fill_has_a_length_and_a_window",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Setup",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kit",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="setup",
                        to="tooling.kit",
                    ),
                ),
                (
                    "mill",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="setups",
                        to="tooling.mill",
                    ),
                ),
                (
                    "chart",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="setups",
                        to="tooling.setupchart",
                    ),
                ),
                (
                    "plate",
                    models.ForeignKey(
                        blank=True,
                        help_text="Built off line on this plate.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.place",
                    ),
                ),
                ("docked_at", models.DateTimeField(blank=True, null=True)),
                (
                    "is_turned",
                    models.BooleanField(default=False, help_text="Mounted for the other hand."),
                ),
                (
                    "check_level",
                    models.CharField(
                        choices=[
                            ("station", "the station"),
                            ("shaft", "each shaft"),
                            ("roll", "every roll"),
                        ],
                        default="station",
                        max_length=7,
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("mounting", "being mounted"),
                            ("running", "running"),
                            ("struck", "struck down"),
                        ],
                        default="mounting",
                        max_length=8,
                    ),
                ),
                ("started_at", models.DateTimeField()),
                (
                    "started_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "good_at",
                    models.DateTimeField(blank=True, help_text="The first good part.", null=True),
                ),
                ("struck_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["-started_at"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(
                            models.Q(("state", "struck"), _negated=True),
                            models.Q(
                                ("plate", None), ("docked_at__isnull", False), _connector="OR"
                            ),
                        ),
                        fields=("mill",),
                        name="one_setup_stands_on_a_mill",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "struck"), ("struck_at__isnull", False)),
                            models.Q(
                                models.Q(("state", "struck"), _negated=True), ("struck_at", None)
                            ),
                            _connector="OR",
                        ),
                        name="struck_setup_says_when",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="ApprovalPiece",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "approval",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pieces",
                        to="tooling.approval",
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="approvals",
                        to="tooling.piece",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("approval", "piece"), name="approved_piece_once"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="AsSet",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                ("happened_at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.asset",
                    ),
                ),
                (
                    "is_taken_back",
                    models.BooleanField(
                        default=False, help_text="With corrects: what that row said does not hold."
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                (
                    "setup",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="as_set",
                        to="tooling.setup",
                    ),
                ),
                ("station_number", models.PositiveSmallIntegerField()),
                ("name", models.CharField(blank=True, max_length=60)),
                (
                    "end",
                    models.CharField(
                        blank=True,
                        choices=[("inboard", "inboard end"), ("outboard", "outboard end")],
                        max_length=8,
                    ),
                ),
                ("value_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("value", models.FloatField(null=True)),
                ("unit", models.CharField(max_length=12)),
                (
                    "method",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("feeler", "feelers"),
                            ("strip", "strip sample"),
                            ("plug", "plug or pin"),
                            ("solder", "solder or lead"),
                            ("spacers", "set by spacers"),
                            ("dial", "dial or scale"),
                            ("screw", "screw turns"),
                            ("caliper", "caliper or micrometer"),
                            ("other", "another way"),
                        ],
                        max_length=8,
                    ),
                ),
                (
                    "is_loaded",
                    models.BooleanField(
                        help_text="With the strip in and the mill loaded.", null=True
                    ),
                ),
                ("target_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("target", models.FloatField(null=True)),
                ("is_as_target", models.BooleanField(default=False)),
            ],
            options={
                "indexes": [
                    models.Index(fields=["setup", "station_number"], name="as_set_of_station")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("value", None), ("value_nm__isnull", False)),
                            models.Q(("value__isnull", False), ("value_nm", None)),
                            _connector="OR",
                        ),
                        name="as_set_says_one_value",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="CountEntry",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                (
                    "count",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="entries",
                        to="tooling.count",
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.piece",
                    ),
                ),
                (
                    "stock_line",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.stockline",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.place",
                    ),
                ),
                ("quantity", models.PositiveIntegerField(default=1)),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("scan", "scan"),
                            ("tick", "tick"),
                            ("typed", "typed"),
                            ("count", "count"),
                            ("import", "import"),
                        ],
                        max_length=6,
                    ),
                ),
                ("is_taken_back", models.BooleanField(default=False)),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.countentry",
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.device",
                    ),
                ),
                (
                    "movement",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="count_entries",
                        to="tooling.movement",
                    ),
                ),
                ("happened_at", models.DateTimeField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["count", "at"], name="count_entry_of_count")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("piece__isnull", False), ("stock_line", None)),
                            models.Q(("piece", None), ("stock_line__isnull", False)),
                            _connector="OR",
                        ),
                        name="count_entry_has_one_subject",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("is_taken_back", False), ("corrects__isnull", False), _connector="OR"
                        ),
                        name="taken_back_names_what",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="CountLine",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "count",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="lines",
                        to="tooling.count",
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.piece",
                    ),
                ),
                (
                    "stock_line",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.stockline",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.place",
                    ),
                ),
                ("expected", models.PositiveIntegerField(default=1)),
                (
                    "reason",
                    models.CharField(
                        blank=True,
                        help_text="Why it is missing or more, given at the close.",
                        max_length=200,
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["count", "place"], name="count_line_place")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("piece__isnull", False), ("stock_line", None)),
                            models.Q(("piece", None), ("stock_line__isnull", False)),
                            _connector="OR",
                        ),
                        name="count_line_has_one_subject",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("piece", None), _negated=True),
                        fields=("count", "piece"),
                        name="count_line_piece_once",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("stock_line", None), _negated=True),
                        fields=("count", "stock_line"),
                        name="count_line_stock_once",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Delay",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                ("happened_at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.delay",
                    ),
                ),
                (
                    "is_taken_back",
                    models.BooleanField(
                        default=False, help_text="With corrects: what that row said does not hold."
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                (
                    "setup",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="delays",
                        to="tooling.setup",
                    ),
                ),
                (
                    "cause",
                    models.CharField(
                        choices=[
                            ("missing", "a piece or spacer was missing"),
                            ("wrong", "a wrong piece was mounted"),
                            ("damaged", "damaged or dirty tooling"),
                            ("waiting", "waited for people, crane or truck"),
                            ("strip", "waited for strip"),
                            ("machine", "the mill itself"),
                            ("numbers", "numbers were missing or did not hold"),
                            ("other", "something else"),
                        ],
                        max_length=8,
                    ),
                ),
                ("minutes", models.FloatField()),
                ("station_number", models.PositiveSmallIntegerField(null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("minutes__gt", 0)), name="delay_takes_time"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="IncidentPiece",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "incident",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pieces",
                        to="tooling.incident",
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="incidents",
                        to="tooling.piece",
                    ),
                ),
                (
                    "condition_before",
                    models.CharField(
                        choices=[
                            ("clean", "clean"),
                            ("sound", "sound"),
                            ("new", "new, not proved"),
                            ("dirty", "dirty"),
                            ("marked", "marked"),
                            ("chipped", "chipped"),
                            ("cracked", "cracked"),
                            ("build_up", "build-up"),
                            ("chrome_worn", "chrome worn"),
                            ("hold", "hold"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "condition_after",
                    models.CharField(
                        choices=[
                            ("clean", "clean"),
                            ("sound", "sound"),
                            ("new", "new, not proved"),
                            ("dirty", "dirty"),
                            ("marked", "marked"),
                            ("chipped", "chipped"),
                            ("cracked", "cracked"),
                            ("build_up", "build-up"),
                            ("chrome_worn", "chrome worn"),
                            ("hold", "hold"),
                        ],
                        max_length=12,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("incident", "piece"), name="incident_piece_once"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="OwnerReport",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                (
                    "owner",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reports",
                        to="tooling.owner",
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="owner_reports",
                        to="tooling.piece",
                    ),
                ),
                (
                    "stock_line",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="owner_reports",
                        to="tooling.stockline",
                    ),
                ),
                ("quantity", models.PositiveIntegerField(default=1)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("loss", "loss"),
                            ("damage", "damage"),
                            ("unsuitable", "found unsuitable"),
                        ],
                        max_length=10,
                    ),
                ),
                ("what_happened", models.CharField(max_length=400)),
                (
                    "incident",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="owner_reports",
                        to="tooling.incident",
                    ),
                ),
                ("opened_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["owner", "opened_at"], name="report_of_owner")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("piece__isnull", False), ("stock_line", None)),
                            models.Q(("piece", None), ("stock_line__isnull", False)),
                            _connector="OR",
                        ),
                        name="report_has_one_subject",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("what_happened", ""), _negated=True),
                        name="report_says_what",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PartCheck",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                ("happened_at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.partcheck",
                    ),
                ),
                (
                    "is_taken_back",
                    models.BooleanField(
                        default=False, help_text="With corrects: what that row said does not hold."
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                (
                    "setup",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="part_checks",
                        to="tooling.setup",
                    ),
                ),
                (
                    "characteristic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="checks",
                        to="tooling.characteristic",
                    ),
                ),
                ("value_nm", tooling.models.fields.LengthField(blank=True, null=True)),
                ("value", models.FloatField(null=True)),
                ("is_good", models.BooleanField()),
            ],
            options={
                "abstract": False,
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Picture",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "file",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pictures",
                        to="tooling.storedfile",
                    ),
                ),
                (
                    "small",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.storedfile",
                    ),
                ),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
                (
                    "piece",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pictures",
                        to="tooling.piece",
                    ),
                ),
                (
                    "incident",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pictures",
                        to="tooling.incident",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pictures",
                        to="tooling.place",
                    ),
                ),
                ("caption", models.CharField(blank=True, max_length=200)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("is_taken_back", models.BooleanField(default=False)),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.picture",
                    ),
                ),
            ],
            options={
                "ordering": ["-at", "-id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("piece__isnull", False),
                            ("incident__isnull", False),
                            ("place__isnull", False),
                            _connector="OR",
                        ),
                        name="picture_shows_something",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("height__gt", 0), ("width__gt", 0)),
                        name="picture_has_a_size",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="PurchaseLine",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "purchase",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="lines",
                        to="tooling.purchase",
                    ),
                ),
                ("line", models.PositiveSmallIntegerField()),
                (
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="purchase_lines",
                        to="tooling.drawingrevision",
                    ),
                ),
                ("quantity", models.PositiveIntegerField()),
                (
                    "is_counted",
                    models.BooleanField(
                        default=False,
                        help_text="Comes into a bin by count; otherwise each piece has a code.",
                    ),
                ),
                (
                    "set_copy",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="purchase_lines",
                        to="tooling.setcopy",
                    ),
                ),
                (
                    "mark",
                    models.CharField(blank=True, help_text="To be stamped on it.", max_length=40),
                ),
                (
                    "price_cents",
                    models.PositiveBigIntegerField(blank=True, help_text="Of one.", null=True),
                ),
            ],
            options={
                "ordering": ["purchase", "line"],
                "constraints": [
                    models.UniqueConstraint(fields=("purchase", "line"), name="purchase_line_once"),
                    models.CheckConstraint(
                        condition=models.Q(("quantity__gt", 0)), name="purchase_line_of_some"
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="SetupStep",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                ("happened_at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.setupstep",
                    ),
                ),
                (
                    "is_taken_back",
                    models.BooleanField(
                        default=False, help_text="With corrects: what that row said does not hold."
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                (
                    "setup",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps",
                        to="tooling.setup",
                    ),
                ),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("stopped", "last good part of the job before"),
                            ("cleared", "mill cleared"),
                            ("mounted", "everything mounted"),
                            ("gapped", "gaps set"),
                            ("threaded", "strip threaded"),
                            ("good", "first good part"),
                            ("clean", "looked over: all clean and sound"),
                            ("handed_over", "handed over"),
                        ],
                        max_length=11,
                    ),
                ),
            ],
            options={
                "abstract": False,
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="ShaftMount",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                ("happened_at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.shaftmount",
                    ),
                ),
                (
                    "is_taken_back",
                    models.BooleanField(
                        default=False, help_text="With corrects: what that row said does not hold."
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
                (
                    "setup",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="mounts",
                        to="tooling.setup",
                    ),
                ),
                ("station_number", models.PositiveSmallIntegerField()),
                (
                    "shaft",
                    models.CharField(
                        choices=[("top", "top"), ("bottom", "bottom"), ("side", "side")],
                        max_length=6,
                    ),
                ),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("mounted", "mounted"),
                            ("skipped", "left out"),
                            ("taken_off", "taken off"),
                        ],
                        max_length=9,
                    ),
                ),
                (
                    "checked",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("station", "the station"),
                            ("shaft", "each shaft"),
                            ("roll", "every roll"),
                        ],
                        max_length=7,
                    ),
                ),
                (
                    "scan",
                    models.UUIDField(
                        help_text="The scan whose movements put the pieces there.", null=True
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["setup", "station_number", "shaft"], name="mount_of_shaft")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("what", "skipped"), _negated=True),
                            models.Q(("note", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="left_out_has_a_reason",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="OwnerMarkCheck",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="owner_mark_checks",
                        to="tooling.piece",
                    ),
                ),
                ("is_there", models.BooleanField()),
                (
                    "picture",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="owner_mark_checks",
                        to="tooling.picture",
                    ),
                ),
                ("checked_at", models.DateTimeField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "indexes": [
                    models.Index(fields=["piece", "checked_at"], name="owner_mark_of_piece")
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Receipt",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipts",
                        to="tooling.purchaseline",
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipts",
                        to="tooling.piece",
                    ),
                ),
                (
                    "stock_line",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipts",
                        to="tooling.stockline",
                    ),
                ),
                ("quantity", models.PositiveIntegerField(default=1)),
                ("heat_lot", models.CharField(blank=True, max_length=40)),
                (
                    "certificate",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tooling.storedfile",
                    ),
                ),
                ("certificate_name", models.CharField(blank=True, max_length=160)),
                ("happened_at", models.DateTimeField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=300)),
                ("is_taken_back", models.BooleanField(default=False)),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="tooling.receipt",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("piece__isnull", False), ("stock_line", None)),
                            models.Q(("piece", None), ("stock_line__isnull", False)),
                            _connector="OR",
                        ),
                        name="receipt_has_one_subject",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("quantity__gt", 0)), name="receipt_of_some"
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="ReportNote",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "report",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="notes",
                        to="tooling.ownerreport",
                    ),
                ),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("told", "the owner was told"),
                            ("answer", "the owner answered"),
                            ("found", "found again"),
                            ("settled", "settled"),
                        ],
                        max_length=8,
                    ),
                ),
                ("happened_at", models.DateTimeField(help_text="When the owner was told.")),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "whom",
                    models.CharField(
                        blank=True, help_text="Who was told, and how.", max_length=120
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=400)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("what", "told"), _negated=True),
                            models.Q(("whom", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="told_names_somebody",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Inspection",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="inspections",
                        to="tooling.receipt",
                    ),
                ),
                (
                    "verdict",
                    models.CharField(
                        choices=[
                            ("accepted", "accepted"),
                            ("concession", "accepted with a reason"),
                            ("rejected", "rejected"),
                        ],
                        max_length=10,
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=300)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("verdict", "accepted"),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="less_than_accepted_has_a_reason",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.AddField(
            model_name="chartpass",
            name="gap_allowance_nm",
            field=tooling.models.fields.LengthField(
                blank=True,
                help_text="Signed, on the measured strip: coating +, spring −.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="chartpass",
            name="gap_is_loaded",
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name="chartpass",
            name="gap_method",
            field=models.CharField(blank=True, max_length=8),
        ),
        migrations.AddField(
            model_name="drawingrevision",
            name="strokes_to_sharpen",
            field=models.PositiveBigIntegerField(
                blank=True, help_text="Line tooling: strokes between sharpenings.", null=True
            ),
        ),
        migrations.AddField(
            model_name="import",
            name="task",
            field=models.ForeignKey(
                help_text="Reads or applies.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="tooling.task",
            ),
        ),
        migrations.AddField(
            model_name="kitposition",
            name="fill",
            field=models.CharField(
                blank=True,
                choices=[
                    ("inboard", "inboard fill"),
                    ("middle", "middle fill"),
                    ("outboard", "outboard fill"),
                ],
                max_length=8,
            ),
        ),
        migrations.AddField(
            model_name="kitposition",
            name="is_pinned",
            field=models.BooleanField(
                default=False, help_text="Of a fill: put there by a person; solving leaves it."
            ),
        ),
        migrations.AddField(
            model_name="kitposition",
            name="length_nm",
            field=tooling.models.fields.LengthField(
                blank=True,
                help_text="Of a fill: the width it was reckoned with, measured or nominal.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="millshaft",
            name="end_play_measured_on",
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="millshaft",
            name="end_play_nm",
            field=tooling.models.fields.LengthField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="owner",
            name="insurance_reference",
            field=models.CharField(
                blank=True, help_text="Who insures this owner's tooling, and where.", max_length=120
            ),
        ),
        migrations.AddField(
            model_name="piece",
            name="home",
            field=models.ForeignKey(
                blank=True,
                help_text="Where it belongs; empty: where its copy of the set belongs.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="home_of_pieces",
                to="tooling.place",
            ),
        ),
        migrations.AddField(
            model_name="piece",
            name="strokes_run",
            field=models.PositiveBigIntegerField(default=0),
        ),
        migrations.AddField(
            model_name="place",
            name="home",
            field=models.ForeignKey(
                blank=True,
                help_text="Where a cart or plate stands when nobody uses it.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="home_of_places",
                to="tooling.place",
            ),
        ),
        migrations.AddField(
            model_name="setpass",
            name="gap_degrees",
            field=models.FloatField(
                blank=True,
                help_text="Inclination of the face at the gap point to the shaft.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="setposition",
            name="gap_diameter_nm",
            field=tooling.models.fields.LengthField(
                blank=True,
                help_text="Drawn diameter at the pass's gap point, of the roll that carries it.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="setposition",
            name="where",
            field=models.CharField(
                blank=True,
                help_text="On the line: where, such as “before the pre-punch”.",
                max_length=60,
            ),
        ),
        migrations.AddField(
            model_name="shop",
            name="currency",
            field=models.CharField(blank=True, help_text="ISO 4217, such as USD.", max_length=3),
        ),
        migrations.AlterField(
            model_name="import",
            name="state",
            field=models.CharField(
                choices=[
                    ("reading", "being read"),
                    ("applying", "being applied"),
                    ("mapping", "columns to match"),
                    ("ready", "ready to apply"),
                    ("problems", "has problems"),
                    ("applied", "applied"),
                    ("dropped", "dropped"),
                ],
                max_length=10,
            ),
        ),
        migrations.AlterField(
            model_name="kitposition",
            name="set_position",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="tooling.setposition",
            ),
        ),
        migrations.AlterField(
            model_name="kitposition",
            name="shaft",
            field=models.CharField(
                choices=[
                    ("top", "top"),
                    ("bottom", "bottom"),
                    ("side", "side"),
                    ("line", "on the line"),
                ],
                max_length=6,
            ),
        ),
        migrations.AlterField(
            model_name="place",
            name="kind",
            field=models.CharField(
                choices=[
                    ("area", "area"),
                    ("rack", "rack"),
                    ("shelf", "shelf"),
                    ("bin", "bin"),
                    ("peg", "peg"),
                    ("cart", "cart"),
                    ("plate", "plate"),
                    ("station", "station"),
                    ("grinder", "grinder"),
                    ("customer", "customer"),
                    ("person", "person"),
                    ("sister", "sister plant"),
                    ("lost", "lost"),
                    ("scrap", "scrap"),
                    ("unknown", "not yet placed"),
                ],
                max_length=10,
            ),
        ),
        migrations.AlterField(
            model_name="setposition",
            name="shaft",
            field=models.CharField(
                choices=[
                    ("top", "top"),
                    ("bottom", "bottom"),
                    ("side", "side"),
                    ("line", "on the line"),
                ],
                max_length=6,
            ),
        ),
        migrations.AlterField(
            model_name="work",
            name="kind",
            field=models.CharField(
                choices=[
                    ("regrind", "regrind"),
                    ("recontour", "recontour"),
                    ("face", "face"),
                    ("rebore", "re-bore or sleeve"),
                    ("polish", "polish"),
                    ("strip", "strip chrome"),
                    ("plate", "plate"),
                    ("remark", "re-mark"),
                    ("sharpen", "sharpen"),
                ],
                max_length=10,
            ),
        ),
        migrations.AddConstraint(
            model_name="kitposition",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("length_nm__gt", 0),
                        ("set_position", None),
                        models.Q(("fill", ""), _negated=True),
                    ),
                    models.Q(("fill", ""), ("is_pinned", False), ("set_position__isnull", False)),
                    _connector="OR",
                ),
                name="called_for_by_the_set_or_a_fill",
            ),
        ),
        migrations.AddField(
            model_name="job",
            name="due_at",
            field=models.DateTimeField(
                blank=True,
                help_text="When it must have been run; empty: it is never late.",
                null=True,
            ),
        ),
        migrations.RunSQL(STROKES_WRITTEN_DOWN_BEFORE, migrations.RunSQL.noop),
    ]
