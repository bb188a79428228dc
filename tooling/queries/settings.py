"""What a setting is worth here: the set's own, else the mill's, else the shop's, else default."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from tooling.models import Mill, Setting, ToolSet
from tooling.models.defaults import SETTINGS, Declared, SettingKind


@dataclass(frozen=True)
class Override:
    """A value that one mill or one set has of its own."""

    id: int
    scope: str
    value: Any


@dataclass(frozen=True)
class SettingRow:
    """One line of the settings page."""

    declared: Declared
    value: Any
    is_default: bool
    overrides: tuple[Override, ...]


def setting_value(
    name: str, *, unit: str = "mm", mill: Mill | None = None, tool_set: ToolSet | None = None
) -> int | float:
    """One setting's value; lengths in nm. One query."""
    return setting_values([name], unit=unit, mill=mill, tool_set=tool_set)[name]


def setting_lengths(name: str, *, unit: str = "mm", mill: Mill | None = None) -> tuple[int, ...]:
    """Several lengths that are one setting, nm. One query."""
    given = given_settings([name])
    return given.lengths(name, unit=unit, mill_id=mill.pk if mill else None)


def setting_values(
    names: list[str], *, unit: str = "mm", mill: Mill | None = None, tool_set: ToolSet | None = None
) -> dict[str, int | float]:
    """Several settings in one query."""
    here = Q(mill=None, tool_set=None)
    if mill is not None:
        here |= Q(mill=mill, tool_set=None)
    if tool_set is not None:
        here |= Q(mill=None, tool_set=tool_set)
    found: dict[str, tuple[int, Any]] = {}
    rows = Setting.objects.filter(here, name__in=names)
    for name, value, mill_id, set_id in rows.values_list("name", "value", "mill_id", "tool_set_id"):
        rank = 2 if set_id else 1 if mill_id else 0
        if rank >= found.get(name, (-1, None))[0]:
            found[name] = (rank, value)
    return {
        name: found[name][1] if name in found else SETTINGS[name].default_for(unit)
        for name in names
    }


@dataclass(frozen=True)
class Given:
    """What the shop, its mills and its sets gave of some settings; asked for many scopes."""

    rows: tuple[tuple[str, Any, int | None, int | None], ...]

    def lengths(
        self, name: str, *, unit: str = "mm", mill_id: int | None = None, set_id: int | None = None
    ) -> tuple[int, ...]:
        """The same of several lengths, nm."""
        found = self._own(name, mill_id, set_id)
        return SETTINGS[name].lengths_for(unit) if found is None else tuple(found)

    def value(
        self, name: str, *, unit: str = "mm", mill_id: int | None = None, set_id: int | None = None
    ) -> int | float:
        """The set's own, else the mill's, else the shop's, else the default."""
        found: int | float | None = self._own(name, mill_id, set_id)
        return SETTINGS[name].default_for(unit) if found is None else found

    def _own(self, name: str, mill_id: int | None, set_id: int | None) -> Any:
        """What somebody gave for this scope, the nearest first; None where nobody did."""
        found, rank = None, -1
        for row_name, value, mill, tool_set in self.rows:
            here = 2 if tool_set else 1 if mill else 0
            if row_name == name and mill in (None, mill_id) and tool_set in (None, set_id):
                found, rank = (value, here) if here >= rank else (found, rank)
        return found


def given_settings(names: list[str]) -> Given:
    """All that was given of these settings. One query."""
    rows = Setting.objects.filter(name__in=names)
    return Given(tuple(rows.values_list("name", "value", "mill_id", "tool_set_id")))


def settings_page() -> list[SettingRow]:
    """Every setting with what this shop changed. One query."""
    rows = list(Setting.objects.select_related("mill", "tool_set").order_by("id"))
    return [_row(declared, [row for row in rows if row.name == declared.name])
            for declared in SETTINGS.values()]  # fmt: skip


def _row(declared: Declared, rows: list[Setting]) -> SettingRow:
    shop = next((row for row in rows if not row.mill_id and not row.tool_set_id), None)
    overrides = tuple(
        Override(row.pk, str(row.mill or row.tool_set), row.value)
        for row in rows
        if row.mill_id or row.tool_set_id
    )
    default: Any = declared.default
    if declared.kind == SettingKind.LENGTHS:
        default = declared.lengths
    value = shop.value if shop else default
    return SettingRow(declared, value, shop is None, overrides)
