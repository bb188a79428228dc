"""The record that an address names, for a door to hand to its service."""

from __future__ import annotations

from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Drawing, Job, Mill, Piece, Place, StockLine, ToolSet


def get_row(rows: QuerySet[Any], *, said: str, **where: Any) -> Any:
    """The one row, or Unknown ``unknown_code`` saying what was asked for."""
    row: Model | None = rows.filter(**where).first()
    if row is None:
        raise Unknown(
            "unknown_code",
            _("There is no {said}. Check the address, or search for it."),
            said=said,
        )
    return row


def get_piece(code: str) -> Piece:
    rows = Piece.objects.select_related("drawing", "revision__drawing", "owner", "place")
    found: Piece = get_row(rows, said=code, code=code.upper())
    return found


def get_place(code: str) -> Place:
    found: Place = get_row(Place.objects.select_related("parent"), said=code, code=code.upper())
    return found


def get_mill(number: str) -> Mill:
    found: Mill = get_row(Mill.objects.all(), said=number, number=number)
    return found


def get_set(number: str) -> ToolSet:
    found: ToolSet = get_row(ToolSet.objects.all(), said=number, number=number)
    return found


def get_drawing(number: str) -> Drawing:
    found: Drawing = get_row(Drawing.objects.all(), said=number, number=number)
    return found


def get_job(number: str) -> Job:
    rows = Job.objects.select_related("tool_set", "mill", "variant", "customer")
    found: Job = get_row(rows, said=number, number=number)
    return found


def get_line(code: str) -> StockLine:
    rows = StockLine.objects.select_related("drawing", "place", "owner")
    found: StockLine = get_row(rows, said=code, code=code.upper())
    return found
