"""The named filters of the lists."""

from __future__ import annotations

from datetime import UTC
from typing import Any

import django_filters
from django.core.exceptions import ValidationError
from django.db.models import F, Q, QuerySet
from django_filters.fields import IsoDateTimeField

from tooling.models import (
    Condition,
    Drawing,
    DrawingKind,
    Job,
    JobState,
    Mill,
    Owner,
    Place,
    PlaceKind,
    StockLine,
    ToolSet,
)
from tooling.queries.prefixes import starts_with

Rows = QuerySet[Any]


class _MomentField(IsoDateTimeField):
    """In UTC: PostgreSQL reads no offset of sixteen hours or more."""

    def to_python(self, value: Any) -> Any:
        found = super().to_python(value)
        try:
            return found and found.astimezone(UTC)
        except OverflowError as error:
            raise ValidationError(self.error_messages["invalid"], code="invalid") from error


class MomentFilter(django_filters.IsoDateTimeFilter):
    field_class = _MomentField


class OwnerFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="by_text", label="Part of a code or a name.")

    class Meta:
        model = Owner
        fields: list[str] = []

    def by_text(self, rows: Rows, name: str, value: str) -> Rows:
        return rows.filter(Q(code__icontains=value) | Q(name__icontains=value))


class PlaceFilter(django_filters.FilterSet):
    q = django_filters.CharFilter("path_name", lookup_expr="icontains", label="Part of a name.")
    kind = django_filters.ChoiceFilter(choices=PlaceKind.choices)
    inside = django_filters.CharFilter(method="by_outer", label="A place's code.")
    is_active = django_filters.BooleanFilter()

    class Meta:
        model = Place
        fields: list[str] = []

    def by_outer(self, rows: Rows, name: str, value: str) -> Rows:
        return rows.filter(path__contains=f"/{value.upper()}/").exclude(code=value.upper())


class StockFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="by_drawing", label="Part of a drawing's number.")
    place = django_filters.CharFilter("place__code", label="A place's code.")
    owner = django_filters.CharFilter("owner__code", label="An owner's code.")
    condition = django_filters.ChoiceFilter(choices=Condition.choices)
    short = django_filters.BooleanFilter(method="by_short", label="Below its least count.")

    class Meta:
        model = StockLine
        fields: list[str] = []

    def by_drawing(self, rows: Rows, name: str, value: str) -> Rows:
        return rows.filter(drawing__number_key__contains=value.upper())

    def by_short(self, rows: Rows, name: str, value: bool) -> Rows:
        below = Q(count__lt=F("least_count"))
        return rows.filter(below if value else ~below)


class DrawingFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="by_number", label="The beginning of a number.")
    kind = django_filters.ChoiceFilter(choices=DrawingKind.choices)

    class Meta:
        model = Drawing
        fields: list[str] = []

    def by_number(self, rows: Rows, name: str, value: str) -> Rows:
        return rows.filter(starts_with("number_key", value.upper()))


class MillFilter(django_filters.FilterSet):
    is_active = django_filters.BooleanFilter()

    class Meta:
        model = Mill
        fields: list[str] = []


class JobFilter(django_filters.FilterSet):
    state = django_filters.ChoiceFilter(choices=JobState.choices)
    mill = django_filters.CharFilter("mill__number", label="A mill's number.")
    set = django_filters.CharFilter("tool_set__number", label="A set's number.")
    starts_after = MomentFilter("starts_at", lookup_expr="gte")
    starts_before = MomentFilter("starts_at", lookup_expr="lt")

    class Meta:
        model = Job
        fields: list[str] = []


class SetFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="by_text", label="Part of a number or a profile.")
    customer = django_filters.CharFilter("customer__code", label="An owner's code.")

    class Meta:
        model = ToolSet
        fields: list[str] = []

    def by_text(self, rows: Rows, name: str, value: str) -> Rows:
        return rows.filter(Q(number__icontains=value) | Q(name__icontains=value))
