"""Every model that a plan can make; each comes after those it points to."""

from __future__ import annotations

from django.db.models import Model

from tooling.models import (
    Allotment,
    Characteristic,
    ChartAxis,
    ChartPass,
    Drawing,
    DrawingFeature,
    DrawingRevision,
    DriveGroup,
    DueBack,
    Gauge,
    Job,
    LengthEntry,
    Mill,
    MillShaft,
    Movement,
    Owner,
    Piece,
    PieceAlias,
    Place,
    Reading,
    SetCopy,
    SetFill,
    SetPass,
    SetPosition,
    SetupChart,
    SetVariant,
    Station,
    StockLine,
    ToolSet,
    Work,
    WorkMeasure,
)

ORDER: tuple[type[Model], ...] = (
    *(Owner, Place, Gauge, Drawing, DrawingRevision, DrawingFeature, Mill, DriveGroup, Station),
    *(MillShaft, Piece, PieceAlias, StockLine, ToolSet, SetVariant, SetPass, SetPosition, SetCopy),
    *(
        SetFill,
        Characteristic,
        Allotment,
        SetupChart,
        ChartPass,
        ChartAxis,
        Job,
        Movement,
        DueBack,
        Reading,
        Work,
        WorkMeasure,
    ),
    LengthEntry,
)
