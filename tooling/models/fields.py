"""Field kinds that several models share."""

from __future__ import annotations

from typing import Any

from django.db import models

DIMENSIONS = (
    "bore",
    "keyway_width",
    "keyway_depth",
    "face_width",
    "guide_offset",
    "drive_diameter",
    "root_diameter",
    "outside_diameter",
)
"""The dimensions of a drawing and a piece, in the trade's words; columns are named ``…_nm``."""

DIAMETERS = ("drive_diameter", "root_diameter", "outside_diameter")


class LengthField(models.BigIntegerField):
    """A length in whole nanometres. 1 in = 25 400 000 nm, 9.2 million km fit."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        if kwargs.pop("optional", False):
            kwargs.update(null=True, blank=True)
        super().__init__(*args, **kwargs)


class Unit(models.TextChoices):
    MM = "mm", "mm"
    IN = "in", "in"


class Shaft(models.TextChoices):
    TOP = "top", "top"
    BOTTOM = "bottom", "bottom"
    SIDE = "side", "side"
    LINE = "line", "on the line"
