"""The row that a program names by its label code or number, ready to hand to a service."""

from __future__ import annotations

from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold, looks_like_code, read_code
from tooling.errors import Unknown
from tooling.models import (
    ChartPass,
    Drawing,
    DrawingRevision,
    DriveGroup,
    Gauge,
    Mill,
    MillShaft,
    Owner,
    Piece,
    Place,
    SetCopy,
    SetPass,
    SetPosition,
    SetupChart,
    SetVariant,
    Station,
    StockLine,
    ToolSet,
)
from tooling.queries.prefixes import capitals


def piece_of(code: str) -> Piece:
    """By label code. Raises Unknown ``unknown_code``, ToolingError ``bad_check_character``."""
    rows = Piece.objects.select_related("drawing", "revision__drawing", "owner", "place")
    return _labelled(rows, code, _("No piece has the code {code}."))


def place_of(code: str) -> Place:
    """By label code. Raises as `piece_of`."""
    rows = Place.objects.select_related("parent")
    return _labelled(rows, code, _("No place has the code {code}."))


def stock_of(code: str) -> StockLine:
    """By bin code. Raises as `piece_of`."""
    rows = StockLine.objects.select_related("drawing", "place", "owner")
    return _labelled(rows, code, _("No stock bin has the code {code}."))


def drawing_of(number: str) -> Drawing:
    """By number, capitals or not. Raises Unknown ``unknown_drawing``."""
    said = _("There is no drawing {number}.")
    rows = Drawing.objects.filter(number_key__in=capitals(_clean(number))).order_by("number")
    if (found := rows.first()) is None:
        raise Unknown("unknown_drawing", said, number=number[:60])
    return found


def revision_of(drawing: Drawing, revision: str) -> DrawingRevision:
    """A drawing's revision, the current one where none is named. Raises ``unknown_revision``."""
    rows = DrawingRevision.objects.select_related("drawing").filter(drawing=drawing)
    if not revision:
        rows = rows.filter(is_current=True)
        return _numbered(rows, "drawing_id", drawing.pk, "unknown_revision", _NO_REVISION)
    return _numbered(rows, "revision__iexact", revision, "unknown_revision", _NO_REVISION)


def mill_of(number: str) -> Mill:
    """By number. Raises Unknown ``unknown_mill``."""
    said = _("There is no mill {number}.")
    return _numbered(Mill.objects.all(), "number__iexact", number, "unknown_mill", said)


def station_of(mill: Mill, number: int) -> Station:
    """A mill's station. Raises Unknown ``unknown_station``."""
    rows = Station.objects.filter(mill=mill)
    said = _("The mill has no station {number}.")
    return _numbered(rows, "number", number, "unknown_station", said)


def shaft_of(station: Station, which: str, bank: int) -> MillShaft:
    """A station's shaft. Raises Unknown ``unknown_shaft``."""
    rows = MillShaft.objects.filter(station=station, bank=bank)
    said = _("The station has no shaft {number} in that bank.")
    return _numbered(rows, "which", which, "unknown_shaft", said)


def set_of(number: str) -> ToolSet:
    """By number or label code. Raises Unknown ``unknown_set``."""
    said = _("There is no tool set {number}.")
    by_code = ToolSet.objects.filter(code=_clean(fold(number))).first()
    return by_code or _numbered(
        ToolSet.objects.all(), "number__iexact", number, "unknown_set", said
    )


def copy_of(tool_set: ToolSet, letter: str) -> SetCopy:
    """A set's copy. Raises Unknown ``unknown_copy``."""
    rows = SetCopy.objects.select_related("tool_set").filter(tool_set=tool_set)
    said = _("The set has no copy {number}.")
    return _numbered(rows, "letter__iexact", letter, "unknown_copy", said)


def position_of(
    tool_set: ToolSet, *, number: int, shaft: str, order: int, variant: str = ""
) -> SetPosition:
    """A set's position. Raises Unknown ``unknown_position``."""
    rows = SetPosition.objects.select_related("set_pass__tool_set", "drawing", "variant")
    rows = rows.filter(set_pass__tool_set=tool_set, set_pass__number=number, shaft=shaft)
    rows = rows.filter(variant__name=variant) if variant else rows.filter(variant=None)
    said = _("The set has no such position {number} there.")
    return _numbered(rows, "order", order, "unknown_position", said)


def owner_of(code: str) -> Owner:
    """By code; the shop itself where none is named. Raises Unknown ``unknown_owner``."""
    said = _("There is no owner {number}.")
    if not code:
        return _numbered(Owner.objects.all(), "is_shop", True, "unknown_owner", said)
    return _numbered(Owner.objects.all(), "code", code.upper(), "unknown_owner", said)


def pass_of(tool_set: ToolSet, number: int) -> SetPass:
    """A set's pass. Raises Unknown ``unknown_pass``."""
    rows = SetPass.objects.select_related("tool_set").filter(tool_set=tool_set)
    said = _("The set has no pass {number}.")
    return _numbered(rows, "number", number, "unknown_pass", said)


def variant_of(tool_set: ToolSet, name: str) -> SetVariant:
    """A set's variant. Raises Unknown ``unknown_variant``."""
    rows = SetVariant.objects.filter(tool_set=tool_set)
    said = _("The set has no variant {number}.")
    return _numbered(rows, "name__iexact", name, "unknown_variant", said)


def chart_of(tool_set: ToolSet, mill: Mill) -> SetupChart:
    """The set's current chart on a mill. Raises Unknown ``unknown_chart``."""
    rows = SetupChart.objects.select_related("tool_set", "mill")
    said = _("The set has no chart for that mill yet.")
    rows = rows.filter(tool_set=tool_set, is_current=True)
    return _numbered(rows, "mill_id", mill.pk, "unknown_chart", said)


def chart_pass_of(tool_set: ToolSet, mill: Mill, number: int) -> ChartPass:
    """A pass where the set's current chart puts it. Raises ``unknown_chart``, ``unknown_pass``."""
    chart = chart_of(tool_set, mill)
    rows = ChartPass.objects.select_related("chart__tool_set", "chart__mill", "set_pass")
    found = rows.filter(chart=chart, set_pass__number=number).first()
    if found is None:
        raise Unknown(
            "unknown_pass",
            _("The chart of {set} puts no pass {number} on {mill}."),
            set=tool_set.number,
            number=number,
            mill=mill.name,
        )
    return found


def group_of(mill: Mill, name: str) -> DriveGroup:
    """A mill's drive group. Raises Unknown ``unknown_drive_group``."""
    rows = DriveGroup.objects.filter(mill=mill)
    said = _("The mill has no drive group {number}.")
    return _numbered(rows, "name", name, "unknown_drive_group", said)


def gauge_of(number: str) -> Gauge:
    """By number. Raises Unknown ``unknown_gauge_number``."""
    said = _("There is no gauge {number}.")
    return _numbered(Gauge.objects.all(), "number__iexact", number, "unknown_gauge_number", said)


def entry_of(model: type[Model], piece: Piece, number: int) -> Any:
    """A piece's reading, work or length entry by its id. Raises Unknown ``unknown_entry``."""
    rows = model._default_manager.filter(piece=piece)
    said = _("The piece has no entry {number} of that kind.")
    return _numbered(rows, "pk", number, "unknown_entry", said)


def row_of(rows: QuerySet[Any], number: int) -> Any:
    """One of these rows by its id. Raises Unknown ``unknown_entry``."""
    return _numbered(rows, "pk", number, "unknown_entry", _("There is no entry {number} here."))


_NO_REVISION = _("The drawing has no revision {number}.")


def _clean(text: str) -> str:
    return text.replace("\x00", "")


def _labelled(rows: QuerySet[Any], code: str, said: Any) -> Any:
    text = _clean(code)
    found = rows.filter(code=fold(text)).first()
    if found is None:
        if looks_like_code(text):
            read_code(text)
        raise Unknown("unknown_code", said, code=text[:60])
    return found


def _numbered(rows: QuerySet[Any], field: str, value: Any, code: str, said: Any) -> Any:
    asked = _clean(value) if isinstance(value, str) else value
    found = rows.filter(**{field: asked}).first()
    if found is None:
        raise Unknown(code, said, number=str(asked)[:60])
    return found
