"""What the mapping form says of a table's columns.

Fields, for the first table and its column number 3: ``s0-h3`` the field it fills, ``s0-u3`` its
unit, ``s0-d3`` what its blank cells mean (``above``: as the row above; ``merged``: merged cells
count for every row they cover), ``s0-a3`` accept improbable values, ``s0-p3`` the pattern that
takes it apart; its second part has ``s0-h3.2``, ``s0-u3.2``, ``s0-d3.2``, ``s0-a3.2``. For every
row: ``s0-f-owner``, and a further pair ``s0-ff`` and ``s0-fv``.
"""

from __future__ import annotations

from collections.abc import Mapping as MappingOf
from dataclasses import dataclass, field

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.entries import Entry
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.headings import heading_unit
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.splits import part_heading, parts_of
from tooling.spreadsheets.suggest_parts import suggest_parts

Form = MappingOf[str, str]


@dataclass
class _Chosen:
    """What the form has said so far, field by field."""

    kind: Kind
    before: MappingOf[str, str]
    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    down: set[str] = field(default_factory=set)
    spread: set[str] = field(default_factory=set)
    accept: set[str] = field(default_factory=set)

    def take(self, form: Form, at: str, prefix: str, heading: str, label: str) -> None:
        """What the form says of one column or part; ``label`` may name its unit."""
        name = form.get(f"{prefix}h{at}", "")
        if not name or name not in self.kind.by_name:
            return
        self.fill(name, heading)
        unit = form.get(f"{prefix}u{at}", "")
        if self.before.get(name) != heading:
            unit = unit or heading_unit(label, self.kind.field(name).units) or ""
        if unit in self.kind.field(name).units:
            self.units[name] = unit
        blanks = form.get(f"{prefix}d{at}")
        if blanks == "merged":
            self.spread.add(name)
        elif blanks:
            self.down.add(name)
        if form.get(f"{prefix}a{at}"):
            self.accept.add(name)

    def fill(self, name: str, heading: str) -> None:
        """Raises ToolingError ``field_twice``."""
        if name in self.columns:
            raise ToolingError(
                "field_twice",
                _("Both “{first}” and “{second}” are to stand for “{field}”. Choose one of them."),
                field=self.kind.field(name).label,
                first=self.columns[name],
                second=heading,
            )
        self.columns[name] = heading


def chosen_columns(entry: Entry, prefix: str, form: Form) -> Mapping:
    """The mapping that the form says for one table. Raises ToolingError ``bad_mapping``,
    ``field_twice``, ``bad_pattern``."""
    before = entry["mapping"]
    kind = find_kind(before["kind"])
    chosen = _Chosen(kind, before.get("columns") or {})
    splits, fresh = {}, {}
    for number, heading in enumerate(entry["headings"]):
        pattern = form.get(f"{prefix}p{number}", "")
        if not pattern:
            chosen.take(form, str(number), prefix, heading, heading)
            continue
        splits[heading] = pattern
        if pattern != (before.get("splits") or {}).get(heading):
            fresh[number] = pattern
            continue
        for part in range(1, len(parts_of(pattern)) + 1):
            of = part_heading(heading, part)
            chosen.take(form, f"{number}.{part}", prefix, of, heading)
    for number, pattern in fresh.items():
        _guess_parts(entry, number, pattern, chosen)
    return Mapping(
        kind=kind.name,
        columns=chosen.columns,
        units=chosen.units,
        date_order=form.get(f"{prefix}dates") or None,
        decimal_mark=form.get(f"{prefix}decimal") or None,
        fixed=_fixed(prefix, kind, form),
        fill_down=frozenset(chosen.down),
        accept=frozenset(chosen.accept),
        spread=frozenset(chosen.spread),
        splits=splits,
        copies=form.get(f"{prefix}copies") or None,
    )


def _guess_parts(entry: Entry, number: int, pattern: str, chosen: _Chosen) -> None:
    """A pattern that was just picked: what its parts likely stand for."""
    heading = entry["headings"][number]
    proposed = (entry.get("proposals") or {}).get(str(number)) or {}
    found = suggest_parts(pattern, proposed.get("texts") or (), chosen.kind, chosen.columns)
    merges = (entry.get("merges") or {}).get(str(number))
    for part, name in found.items():
        chosen.fill(name, part_heading(heading, part + 1))
        if merges:
            chosen.spread.add(name)


def _fixed(prefix: str, kind: Kind, form: Form) -> dict[str, str]:
    """Values that every row gets."""
    given = {name: form.get(f"{prefix}f-{name}", "") for name in kind.by_name}
    further = form.get(f"{prefix}ff", "")
    if further in kind.by_name:
        given[further] = form.get(f"{prefix}fv", "")
    return {name: value.strip() for name, value in given.items() if value.strip()}
