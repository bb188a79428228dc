"""How the columns of an import's tables are matched, on the wire."""

from __future__ import annotations

from rest_framework import serializers


class SheetsIn(serializers.Serializer):
    """Tables in the import's own order, each with what it changes of ``region groups leave
    keep_rows drop_rows left_out mapping``; further ones name ``file sheet region``."""

    sheets = serializers.ListField(child=serializers.DictField(), allow_empty=True, default=list)
    keep_as = serializers.CharField(required=False, allow_blank=True, default="", max_length=60)


class KeptMappingOut(serializers.Serializer):
    """A mapping kept under a name, for the next time."""

    name = serializers.CharField()
    mapping = serializers.JSONField()
    saved_at = serializers.DateTimeField()
