"""Tool sets: the list, and one set as passes by shafts, with variants, copies and charts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, OuterRef, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from tooling.engineering.measures import plain_measure
from tooling.errors import Unknown
from tooling.models import (
    Allotment,
    ChartPass,
    SetCopy,
    SetFill,
    SetPass,
    SetPosition,
    SetupChart,
    SetVariant,
    ToolSet,
)

SHAFTS = ("top", "bottom", "side", "line")


@dataclass(frozen=True)
class SetRow:
    number: str
    code: str
    name: str
    customer: str
    passes: int
    positions: int
    copies: int


@dataclass(frozen=True)
class PositionCell:
    """One position; ``pieces`` says per copy letter which piece normally fills it."""

    id: int
    order: int
    drawing: str
    kind: str
    variant: str
    mark_faces: str
    is_split: bool
    carries_guide_point: bool
    side: str
    where: str
    unit: str
    face_width_nm: int | None
    drive_diameter_nm: int | None
    outside_diameter_nm: int | None
    gap_diameter_nm: int | None
    pieces: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class PassRow:
    """A pass with its cells: top, bottom, side, and what stands on the line."""

    id: int
    number: int
    name: str
    gap_point: str
    gap_degrees: float | None
    top: tuple[PositionCell, ...]
    bottom: tuple[PositionCell, ...]
    side: tuple[PositionCell, ...]
    line: tuple[PositionCell, ...]

    @property
    def cells(self) -> tuple[PositionCell, ...]:
        return (*self.top, *self.bottom, *self.side, *self.line)


@dataclass(frozen=True)
class CopyRow:
    id: int
    letter: str
    home: str
    home_code: str
    owner: str
    allotted: int
    from_paper_count: int | None


@dataclass(frozen=True)
class ChartView:
    id: int
    mill: str
    mill_number: str
    state: str
    state_word: str
    is_turned: bool
    stations: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class FillRow:
    """A middle fill that the drawings call for."""

    id: int
    pass_number: int
    shaft: str
    after_order: int
    length_nm: int
    below_nm: int
    above_nm: int
    outside_most_nm: int | None


@dataclass(frozen=True)
class CharacteristicRow:
    """What is checked on the first piece, in its own unit; empty where nothing is said."""

    name: str
    unit: str
    nominal: str
    least: str
    most: str


@dataclass(frozen=True)
class SetPage:
    id: int
    number: str
    code: str
    name: str
    revision: str
    unit: str
    customer: str
    thickness_least_nm: int | None
    thickness_most_nm: int | None
    grades: str
    hand: str
    side_roll_mounting: str
    note: str
    passes: tuple[PassRow, ...]
    variants: tuple[str, ...]
    copies: tuple[CopyRow, ...]
    charts: tuple[ChartView, ...]
    positions: int
    fills: tuple[FillRow, ...] = ()
    characteristics: tuple[CharacteristicRow, ...] = ()


def set_list(*, text: str = "") -> list[SetRow]:
    """Sets by number; the text is part of a number or profile. One query."""
    sets = ToolSet.objects.select_related("customer")
    if text:
        sets = sets.filter(number__icontains=text) | sets.filter(name__icontains=text)
    counted = sets.annotate(
        pass_count=_counted(SetPass.objects.filter(tool_set=OuterRef("pk")), "tool_set"),
        position_count=_counted(
            SetPosition.objects.filter(set_pass__tool_set=OuterRef("pk"), variant=None),
            "set_pass__tool_set",
        ),
        copy_count=_counted(SetCopy.objects.filter(tool_set=OuterRef("pk")), "tool_set"),
    )
    return [
        SetRow(
            number=row.number,
            code=row.code,
            name=row.name,
            customer=row.customer.name if row.customer else "",
            passes=row.pass_count,
            positions=row.position_count,
            copies=row.copy_count,
        )
        for row in counted.order_by("number")
    ]


def _counted(rows: Any, group: str) -> Any:
    per_group = rows.order_by().values(group).annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(per_group), 0)


def set_page(number: str) -> SetPage:
    """One set. Ten queries. Raises Unknown ``unknown_set``."""
    row = ToolSet.objects.select_related("customer").filter(number=number).first()
    if row is None:
        raise Unknown("unknown_set", _("There is no tool set {number}."), number=number)
    passes = _passes(row)
    variants = SetVariant.objects.filter(tool_set=row).values_list("name", flat=True)
    return SetPage(
        id=row.pk,
        number=row.number,
        code=row.code,
        name=row.name,
        revision=row.revision,
        unit=row.unit,
        customer=row.customer.name if row.customer else "",
        thickness_least_nm=row.thickness_least_nm,
        thickness_most_nm=row.thickness_most_nm,
        grades=row.grades,
        hand=row.get_hand_display(),
        side_roll_mounting=row.side_roll_mounting,
        note=row.note,
        passes=passes,
        variants=tuple(variants.order_by("name")),
        copies=_copies(row),
        charts=_charts(row),
        positions=sum(len(each.cells) for each in passes),
        fills=_fills(row),
        characteristics=_characteristics(row),
    )


def _fills(tool_set: ToolSet) -> tuple[FillRow, ...]:
    rows = SetFill.objects.filter(set_pass__tool_set=tool_set).select_related("set_pass")
    return tuple(
        FillRow(
            id=row.pk,
            pass_number=row.set_pass.number,
            shaft=row.get_shaft_display(),
            after_order=row.after_order,
            length_nm=row.length_nm,
            below_nm=row.below_nm,
            above_nm=row.above_nm,
            outside_most_nm=row.outside_most_nm,
        )
        for row in rows.order_by("set_pass__number", "-shaft", "after_order")
    )


def _characteristics(tool_set: ToolSet) -> tuple[CharacteristicRow, ...]:
    return tuple(
        CharacteristicRow(
            row.name,
            row.unit,
            *(
                plain_measure(getattr(row, f"{name}_nm"), getattr(row, name), row.unit)
                for name in ("nominal", "least", "most")
            ),
        )
        for row in tool_set.characteristics.order_by("order", "name")
    )


def _passes(tool_set: ToolSet) -> tuple[PassRow, ...]:
    pieces: dict[int, list[tuple[str, str]]] = {}
    allotments = Allotment.objects.filter(copy__tool_set=tool_set).order_by("copy__letter")
    for position, letter, code in allotments.values_list(
        "position_id", "copy__letter", "piece__code"
    ):
        pieces.setdefault(position, []).append((letter, code))
    cells: dict[tuple[int, str], list[PositionCell]] = {}
    positions = SetPosition.objects.filter(
        set_pass__tool_set=tool_set, drawing__revisions__is_current=True
    ).select_related("drawing", "variant")
    for row in _with_sizes(positions):
        cell = _cell(row, pieces.get(row.pk, ()))
        cells.setdefault((row.set_pass_id, row.shaft), []).append(cell)
    return tuple(
        PassRow(
            row.pk,
            row.number,
            row.name,
            row.gap_point,
            row.gap_degrees,
            *(tuple(cells.get((row.pk, shaft), ())) for shaft in SHAFTS),
        )
        for row in SetPass.objects.filter(tool_set=tool_set).order_by("number")
    )


def _with_sizes(positions: Any) -> Any:
    return positions.annotate(
        drawn_unit=F("drawing__revisions__unit"),
        drawn_width=F("drawing__revisions__face_width_nm"),
        drawn_drive=F("drawing__revisions__drive_diameter_nm"),
        drawn_outside=F("drawing__revisions__outside_diameter_nm"),
    ).order_by("shaft", "order", "variant__name")


def _cell(row: Any, pieces: Iterable[tuple[str, str]]) -> PositionCell:
    return PositionCell(
        id=row.pk,
        order=row.order,
        drawing=row.drawing.number,
        kind=row.drawing.kind,
        variant=row.variant.name if row.variant else "",
        mark_faces=row.get_mark_faces_display(),
        is_split=row.is_split,
        carries_guide_point=row.carries_guide_point,
        side=row.get_side_display(),
        where=row.where,
        unit=row.drawn_unit,
        face_width_nm=row.drawn_width,
        drive_diameter_nm=row.drawn_drive,
        outside_diameter_nm=row.drawn_outside,
        gap_diameter_nm=row.gap_diameter_nm,
        pieces=tuple(pieces),
    )


def _copies(tool_set: ToolSet) -> tuple[CopyRow, ...]:
    rows = SetCopy.objects.filter(tool_set=tool_set).select_related("home", "owner")
    return tuple(
        CopyRow(
            id=row.pk,
            letter=row.letter,
            home=row.home.path_name if row.home else "",
            home_code=row.home.code if row.home else "",
            owner=row.owner.name if row.owner else "",
            allotted=row.allotted,
            from_paper_count=row.from_paper_count,
        )
        for row in rows.annotate(allotted=Count("allotments")).order_by("letter")
    )


def _charts(tool_set: ToolSet) -> tuple[ChartView, ...]:
    rows = SetupChart.objects.filter(tool_set=tool_set, is_current=True).select_related("mill")
    at: dict[int, list[tuple[int, int]]] = {}
    places = ChartPass.objects.filter(chart__tool_set=tool_set, chart__is_current=True)
    for chart, number, station in places.order_by("station__number").values_list(
        "chart_id", "set_pass__number", "station__number"
    ):
        at.setdefault(chart, []).append((number, station))
    return tuple(
        ChartView(
            row.pk,
            row.mill.name,
            row.mill.number,
            row.state,
            row.get_state_display(),
            row.is_turned,
            tuple(at.get(row.pk, ())),
        )
        for row in rows.order_by("mill__number")
    )
