"""Records for the API with all that it says of them: a fixed number of queries for any number."""

from __future__ import annotations

from django.db.models import F, Prefetch, QuerySet

from tooling.models import (
    Allotment,
    ChartPass,
    Drawing,
    DrawingRevision,
    Mill,
    MillShaft,
    Owner,
    Place,
    SetCopy,
    SetPosition,
    SetupChart,
    Station,
    StockLine,
    ToolSet,
)


def owners() -> QuerySet[Owner]:
    """Owners. One query."""
    return Owner.objects.all()


def places() -> QuerySet[Place]:
    """Places with what they are in. One query."""
    return Place.objects.select_related("parent", "owner")


def stock_lines() -> QuerySet[StockLine]:
    """Bins with the present size of their drawing as ``drawn_…``. One query."""
    rows = StockLine.objects.filter(drawing__revisions__is_current=True)
    return rows.select_related("drawing", "place", "owner").annotate(
        drawn_unit=F("drawing__revisions__unit"),
        drawn_width_nm=F("drawing__revisions__face_width_nm"),
        drawn_bore_nm=F("drawing__revisions__bore_nm"),
    )


def drawings() -> QuerySet[Drawing]:
    """Drawings with their revisions, the current one first, and what these make. Three
    queries."""
    revisions = DrawingRevision.objects.order_by("-is_current", "-pk").prefetch_related("features")
    return Drawing.objects.prefetch_related(Prefetch("revisions", revisions))


def mills() -> QuerySet[Mill]:
    """Mills. One query."""
    return Mill.objects.select_related("place")


def mills_in_full() -> QuerySet[Mill]:
    """Mills with stations, shafts and drive groups. Four queries."""
    shafts = MillShaft.objects.select_related("drive_group").order_by("bank", "-which")
    stations = Station.objects.select_related("place").order_by("number")
    return mills().prefetch_related(
        "drive_groups", Prefetch("stations", stations), Prefetch("stations__shafts", shafts)
    )


def sets() -> QuerySet[ToolSet]:
    """Sets. One query."""
    return ToolSet.objects.select_related("customer")


def sets_in_full() -> QuerySet[ToolSet]:
    """Sets with passes, positions and who fills them, fills, variants, copies, charts with their
    settings, and characteristics. Eleven queries."""
    positions = SetPosition.objects.select_related("drawing", "variant")
    allotments = Allotment.objects.select_related("copy", "piece").order_by("copy__letter")
    charts = SetupChart.objects.filter(is_current=True).select_related("mill")
    placed = ChartPass.objects.select_related("set_pass", "station").order_by("station__number")
    copies = SetCopy.objects.select_related("home", "owner").order_by("letter")
    return sets().prefetch_related(
        "passes",
        Prefetch("passes__positions", positions.order_by("shaft", "order", "variant__name")),
        Prefetch("passes__positions__allotments", allotments),
        "passes__fills",
        "variants",
        Prefetch("copies", copies),
        Prefetch("charts", charts.order_by("mill__number")),
        Prefetch("charts__chart_passes", placed),
        "charts__chart_passes__axes",
        "characteristics",
    )
