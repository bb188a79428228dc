"""Tool sets: passes with positions, variants, copies, and which piece normally fills what."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import ProtectedError
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Drawing,
    DrawingKind,
    Kit,
    KitPosition,
    KitState,
    Person,
    SetCopy,
    SetPass,
    SetPosition,
    SetVariant,
    Shaft,
    ToolSet,
)
from tooling.permissions import Verb, check_can
from tooling.services import staging
from tooling.services.codes import next_codes
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    record_removal,
    require_fields,
    require_text,
)
from tooling.services.touched import touch_kits_for
from tooling.services.write import writing

ON_THE_LINE = (DrawingKind.LINE_TOOLING, DrawingKind.HARDWARE)
MOST_PASSES = 60
MOST_ORDER = 60


def create_set(
    *, by: Person, at: datetime, number: str, name: str, passes: int = 0, **fields: Any
) -> ToolSet:
    """A tool set, with empty passes 1 to N when asked. Raises ``already_there``,
    ``range_turned_round``, ``absurd_count``."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(ToolSet, fields)
    number = require_text(number, field="number", label=_("Set number"), longest=30)
    name = require_text(name, field="name", label=_("Profile"), longest=120)
    if not 0 <= passes <= MOST_PASSES:
        raise ToolingError(
            "absurd_count",
            _("A set of {count} passes cannot be entered; 1 to {most}."),
            count=passes,
            most=MOST_PASSES,
            in_field="passes",
        )
    _check_range(fields)
    with writing():
        if ToolSet.objects.filter(number__iexact=number).exists():
            raise already_there(label=_("Set"), text=number, field="number")
        code = next_codes(kind="T")[0]
        row = ToolSet.objects.create(code=code, number=number, name=name, **fields)
        SetPass.objects.bulk_create(SetPass(tool_set=row, number=n + 1) for n in range(passes))
        values = {**fields, "name": name, "passes": passes}
        record_creation(by=by, at=at, row=row, key=number, fields=values)
    return row


def edit_set(*, by: Person, at: datetime, tool_set: ToolSet, **fields: Any) -> ToolSet:
    """Change name, revision, thickness range, approved grades … The number stays."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(ToolSet, fields)
    if "name" in fields:
        fields["name"] = require_text(fields["name"], field="name", label=_("Profile"), longest=120)
    with writing():
        fresh = ToolSet.objects.select_for_update().get(pk=tool_set.pk)
        merged = {f.attname: getattr(fresh, f.attname) for f in fresh._meta.fields} | fields
        _check_range(merged)
        apply_edit(by=by, at=at, row=fresh, key=fresh.number, fields=fields)
    return fresh


def save_pass(
    *, by: Person, at: datetime, tool_set: ToolSet, number: int, **fields: Any
) -> SetPass:
    """Add a pass, or change the one of that number. Raises ``absurd_count``,
    ``angle_out_of_range``."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(SetPass, fields)
    check_inclination(fields.get("gap_degrees"))
    if not 1 <= number <= MOST_PASSES:
        raise ToolingError(
            "absurd_count",
            _("Pass {number} cannot be; passes go from 1 to {most}."),
            number=number,
            most=MOST_PASSES,
            in_field="number",
        )
    with writing():
        row, made = SetPass.objects.get_or_create(tool_set=tool_set, number=number, defaults=fields)
        key = f"{tool_set.number} pass {number}"
        if made:
            record_creation(by=by, at=at, row=row, key=key, fields={**fields, "number": number})
        else:
            apply_edit(by=by, at=at, row=row, key=key, fields=fields)
        touch_kits_for(tool_set=tool_set.pk)
    return row


def save_position(
    *,
    by: Person,
    at: datetime,
    set_pass: SetPass,
    shaft: str,
    order: int,
    drawing: Drawing,
    variant: SetVariant | None = None,
    **fields: Any,
) -> SetPosition:
    """Say what a position calls for: a new one, or another drawing at an old one.

    On the line stand line tooling and hardware, with ``where`` in words. Raises
    ``unknown_shaft``, ``absurd_count``, ``other_set``, ``not_for_the_line``,
    ``only_on_the_line``, ``kit_is_open``, ``not_positive``, ``only_on_a_shaft``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(SetPosition, fields)
    check_gap_diameter(shaft, fields.get("gap_diameter_nm"))
    _check_position(set_pass, shaft, order, variant)
    check_kind(shaft, drawing)
    if shaft != Shaft.LINE:
        fields["where"] = ""
    tool_set = set_pass.tool_set
    key = f"{tool_set.number} {set_pass.number} {shaft} {order}"
    with writing():
        here = {"set_pass": set_pass, "shaft": shaft, "order": order, "variant": variant}
        row = SetPosition.objects.filter(**here).first()
        if row is None:
            row = SetPosition.objects.create(**here, drawing=drawing, **fields)
            values = {**fields, "drawing": drawing, "variant": variant}
            record_creation(by=by, at=at, row=row, key=key, fields=values)
        else:
            if row.drawing_id != drawing.pk:
                _refuse_when_gathered(row)
                row.allotments.all().delete()
            changed = {**fields, "drawing": drawing}
            apply_edit(by=by, at=at, row=row, key=key, fields=changed)
        touch_kits_for(tool_set=tool_set.pk)
    return row


def remove_position(*, by: Person, at: datetime, position: SetPosition) -> None:
    """Take a position out of the set. Raises ``kit_is_open``, ``position_has_history``."""
    check_can(by, Verb.EDIT_RECORDS)
    _refuse_when_gathered(position)
    set_pass = position.set_pass
    key = f"{set_pass.tool_set.number} {set_pass.number} {position.shaft} {position.order}"
    with writing():
        fields = {"drawing": position.drawing, "variant": position.variant}
        record_removal(by=by, at=at, row=position, key=key, fields=fields)
        try:
            position.delete()
        except ProtectedError:
            raise Conflict(
                "position_has_history",
                _("Kits have been gathered with this position, so it stays. Change its drawing."),
            )


def add_variant(*, by: Person, at: datetime, tool_set: ToolSet, name: str) -> SetVariant:
    """A named width or hand. Raises ``already_there``."""
    check_can(by, Verb.EDIT_RECORDS)
    name = require_text(name, field="name", label=_("Variant"), longest=40)
    with writing():
        if tool_set.variants.filter(name__iexact=name).exists():
            raise already_there(label=_("Variant"), text=name, field="name")
        row = SetVariant.objects.create(tool_set=tool_set, name=name)
        key = f"{tool_set.number} {name}"[:60]
        record_creation(by=by, at=at, row=row, key=key, fields={"name": name})
    return row


def add_copy(*, by: Person, at: datetime, tool_set: ToolSet, letter: str, **fields: Any) -> SetCopy:
    """A further copy: A, B … It may begin as one line from paper. Raises ``already_there``."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(SetCopy, fields)
    letter = require_text(letter, field="letter", label=_("Copy"), longest=4).upper()
    with writing():
        if tool_set.copies.filter(letter=letter).exists():
            raise already_there(label=_("Copy"), text=letter, field="letter")
        row = SetCopy.objects.create(tool_set=tool_set, letter=letter, **fields)
        record_creation(by=by, at=at, row=row, key=f"{tool_set.number}-{letter}", fields=fields)
    return row


def edit_copy(*, by: Person, at: datetime, copy: SetCopy, **fields: Any) -> SetCopy:
    """Change a copy's home, owner, or the number of rolls written down from paper."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(SetCopy, fields)
    with writing():
        fresh = SetCopy.objects.select_for_update().select_related("tool_set").get(pk=copy.pk)
        key = f"{fresh.tool_set.number}-{fresh.letter}"
        changed = apply_edit(by=by, at=at, row=fresh, key=key, fields=fields)
        if changed and "from_paper_count" in fields:
            kits = Kit.objects.filter(copy=fresh).exclude(state=KitState.CLOSED)
            staging.restage(by=by, at=at, kit_ids=kits.values_list("pk", flat=True))
    return fresh


def _check_range(values: dict[str, Any]) -> None:
    least, most = values.get("thickness_least_nm"), values.get("thickness_most_nm")
    if least is not None and most is not None and least > most:
        raise ToolingError(
            "range_turned_round",
            _("The least thickness is larger than the most. Exchange the two."),
            in_field="thickness_least_nm",
        )


def _check_position(set_pass: SetPass, shaft: str, order: int, variant: SetVariant | None) -> None:
    if shaft not in Shaft.values:
        raise ToolingError(
            "unknown_shaft",
            _("“{shaft}” is no shaft. There are top, bottom, side and the line."),
            shaft=shaft,
            in_field="shaft",
        )
    if not 1 <= order <= MOST_ORDER:
        raise ToolingError(
            "absurd_count",
            _("Position {order} cannot be; count from the shoulder, 1 to {most}."),
            order=order,
            most=MOST_ORDER,
            in_field="order",
        )
    if variant is not None and variant.tool_set_id != set_pass.tool_set_id:
        raise Conflict("other_set", _("That variant belongs to another set."), in_field="variant")


def check_inclination(degrees: float | None) -> None:
    """Raise ``angle_out_of_range`` for what no face at a gap point can be inclined by."""
    if degrees is not None and not 0 <= degrees <= 90:
        raise ToolingError(
            "angle_out_of_range",
            _("A face inclined by {degrees}° to the shaft cannot be; write 0 to 90."),
            degrees=degrees,
            in_field="gap_degrees",
        )


def check_gap_diameter(shaft: str, size_nm: int | None) -> None:
    """Raise ``not_positive``, ``only_on_a_shaft`` of a diameter at the gap point."""
    if size_nm is not None and size_nm <= 0:
        raise ToolingError(
            "not_positive",
            _("{dimension} must be above nothing."),
            dimension=_("The diameter at the gap point"),
            in_field="gap_diameter_nm",
        )
    if size_nm is not None and shaft not in ("top", "bottom"):
        raise ToolingError(
            "only_on_a_shaft",
            _("Only a roll on the top or bottom shaft carries the gap point."),
            in_field="gap_diameter_nm",
        )


def check_kind(shaft: str, drawing: Drawing) -> None:
    """Refuse rolls on the line and line tooling on a shaft."""
    if shaft == Shaft.LINE and drawing.kind not in ON_THE_LINE:
        raise ToolingError(
            "not_for_the_line",
            _("{drawing} is a {kind}. On the line stand line tooling and hardware; say on which "
              "shaft this goes."),
            drawing=drawing.number,
            kind=drawing.get_kind_display(),
            in_field="shaft",
        )  # fmt: skip
    if shaft != Shaft.LINE and drawing.kind == DrawingKind.LINE_TOOLING:
        raise ToolingError(
            "only_on_the_line",
            _("{drawing} is line tooling and goes on no shaft. Say that it stands on the line."),
            drawing=drawing.number,
            in_field="shaft",
        )


def _refuse_when_gathered(position: SetPosition) -> None:
    open_kits = KitPosition.objects.filter(set_position=position, is_open=True)
    found = open_kits.select_related("kit").first()
    if found is not None:
        raise Conflict(
            "kit_is_open",
            _("Kit {kit} is gathered with this position. Close the kit first."),
            kit=found.kit.number,
        )
