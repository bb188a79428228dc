"""How sure the newest diameters are, from the gauge's record and the temperature."""

from __future__ import annotations

from collections.abc import Collection

from tooling.engineering.wear.measuring import GaugeRecord, Thermal, worth
from tooling.models import Reading


def drive_uncertainties(piece_ids: Collection[int]) -> dict[int, int]:
    """Piece id → expanded uncertainty (k = 2) of its newest drive diameter, nm; pieces that nobody
    measured are missing. One query."""
    found = size_uncertainties(piece_ids, ["drive_diameter"])
    return {piece: u_nm for (piece, _name), u_nm in found.items()}


def size_uncertainties(
    piece_ids: Collection[int], names: Collection[str]
) -> dict[tuple[int, str], int]:
    """(piece id, dimension) → the same of each of these dimensions. One query."""
    rows = Reading.objects.filter(
        piece__in=piece_ids, dimension__in=names, corrected_by=None, value_nm__isnull=False
    ).order_by("happened_at", "pk")
    found = {}
    for piece, name, nm, soaked, degrees, resolution, stated in rows.values_list(
        "piece_id", "dimension", "value_nm", "soaked", "temperature_c", "gauge__resolution_nm",
        "gauge__uncertainty_nm",
    ):  # fmt: skip
        told = worth(
            nm or 0, size_nm=nm or 0, gauge=GaugeRecord(resolution, stated),
            thermal=Thermal(is_soaked=True if soaked is None else soaked, temperature_c=degrees),
        )  # fmt: skip
        found[piece, name] = round(2 * told.u_nm)
    return found
