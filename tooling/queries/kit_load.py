"""What a kit weighs, against what the cart or plate under it may carry."""

from __future__ import annotations

from collections.abc import Sequence

from tooling.engineering.handling import check_load, total_of
from tooling.models import Place
from tooling.queries.kit_views import LoadView, PositionView


def load_of(views: Sequence[PositionView], place: Place | None) -> LoadView:
    """Total of the known masses, kg; without a gathering place there is no plate to ask."""
    load = total_of(view.mass_kg for view in views)
    plate = place.max_load_kg if place else None
    finding = check_load(load, plate_kg=plate)
    said = finding.text(str)
    return LoadView(
        kg=load.kg, unknown=load.unknown, plate_kg=plate, level=finding.level, said=said
    )
