"""A day and time by the shop's own clock, also on the two days a year when that clock is put on
or back."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.queries.shop_zone import by_the_clock


class MomentInput(forms.DateTimeField):
    """Its value is aware. A time that the clock skipped is refused as ``no_such_time``, one that
    came twice as ``time_twice``: nobody can know which was meant."""

    def __init__(self, **more: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        super().__init__(widget=widget, **more)

    def to_python(self, value: Any) -> datetime | None:
        moment = self._read(value)
        try:
            return moment.astimezone(UTC) if moment is not None else None
        except OverflowError as error:  # at the ends of the calendar
            raise ValidationError(self.error_messages["invalid"], code="invalid") from error

    def _read(self, value: Any) -> datetime | None:
        try:
            return super().to_python(value)
        except ValidationError as error:
            with timezone.override(UTC):
                written = super().to_python(value)
            if error.code != "ambiguous_timezone" or written is None:
                raise
        try:
            zone = timezone.get_current_timezone()
            return by_the_clock(written.replace(tzinfo=None), zone, may_be_empty=not self.required)
        except ToolingError as problem:
            raise ValidationError(problem.message, code=problem.code) from problem


def moment(label: Any) -> MomentInput:
    """When something happened; empty means now."""
    return MomentInput(label=label, required=False)
