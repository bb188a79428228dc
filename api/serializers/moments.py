"""A moment as a program writes it: ISO 8601, without an offset by the shop's clock."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.utils import timezone
from rest_framework import serializers

from tooling.errors import ToolingError
from tooling.queries.shop_zone import by_the_clock


class MomentField(serializers.DateTimeField):
    """Raises ToolingError ``no_such_time`` or ``time_twice`` where only an offset would tell."""

    def enforce_timezone(self, value: datetime) -> Any:
        if timezone.is_aware(value):
            return super().enforce_timezone(value)
        try:
            return by_the_clock(value, timezone.get_current_timezone()).astimezone(UTC)
        except OverflowError:
            self.fail("overflow")
        except ToolingError as error:
            error.values["in_field"] = self.field_name
            raise
