"""Imports and tasks on the wire."""

from __future__ import annotations

from rest_framework import serializers

from tooling.models import Import
from tooling.queries.import_tasks import problem_count


class ProblemOut(serializers.Serializer):
    """One thing that keeps an import from being applied, and where."""

    sheet = serializers.CharField()
    row = serializers.IntegerField()
    column = serializers.CharField()
    value = serializers.CharField()
    code = serializers.CharField()
    message = serializers.CharField()


class RowCountsOut(serializers.Serializer):
    """How many rows would do what."""

    create = serializers.IntegerField()  # type: ignore[assignment]
    change = serializers.IntegerField()
    same = serializers.IntegerField()


class ImportOut(serializers.Serializer):
    """An import as far as it has come."""

    id = serializers.IntegerField(source="pk")
    state = serializers.CharField()
    rows = RowCountsOut()
    problems = ProblemOut(many=True, help_text="The first thousand; all of them as CSV.")
    problem_count = serializers.SerializerMethodField()
    task = serializers.IntegerField(
        source="task_id", allow_null=True, help_text="The worker's part, while it lasts and after."
    )
    mapping = serializers.JSONField()
    created_at = serializers.DateTimeField()
    applied_at = serializers.DateTimeField(allow_null=True)

    def get_problem_count(self, made: Import) -> int:
        return problem_count(made)


class ImportFileOut(serializers.Serializer):
    """One file of an import, as it was brought."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    size = serializers.IntegerField(help_text="Bytes.")


class BringIn(serializers.Serializer):
    """Spreadsheets to bring in, with the name of a kept mapping."""

    files = serializers.ListField(child=serializers.FileField(), allow_empty=False)
    mapping = serializers.CharField(required=False, allow_blank=True, default="")


class TaskOut(serializers.Serializer):
    """Background work as far as it has come."""

    id = serializers.IntegerField(source="pk")
    kind = serializers.CharField()
    state = serializers.CharField()
    progress = serializers.FloatField()
    message = serializers.CharField()
    result = serializers.JSONField()
    created_at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True)
