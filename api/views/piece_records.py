"""What is written down about a piece: readings, past work, strip length run."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.lengths import AskedLength, dimensions, read_length
from api.serializers.pieces import (
    LengthRunIn,
    LengthRunOut,
    ReadingIn,
    ReadingOut,
    WorkIn,
    WorkOut,
)
from tooling.engineering.lengths import parse_strip_length
from tooling.errors import ToolingError
from tooling.models import DIMENSIONS, LengthEntry, Piece, Reading, Work
from tooling.permissions import Verb
from tooling.queries.by_code import entry_of, gauge_of, piece_of, revision_of
from tooling.services import lengths_run, readings, work
from tooling.services.dimensions import known_size

DIMENSION = {each.name: each for each in dimensions()}


class PieceReadings(Door):
    """Write a reading down. A wrong one is put right by one that names it."""

    verbs = {"POST": Verb.RECORD_READINGS}

    @extend_schema(request=ReadingIn, responses={201: ReadingOut})
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(ReadingIn, request)
        unit, text = _one_of(values, "value", ("mm", "in"))
        gauge = values.pop("gauge")
        made = readings.record_reading(
            by=by(request),
            at=timezone.now(),
            piece=piece,
            value_nm=read_length(_asked(piece, values["dimension"]), text, unit),
            unit=unit,
            as_written=text,
            gauge=gauge_of(gauge) if gauge else None,
            corrects=_corrected(values, Reading, piece),
            **values,
        )
        return answer(ReadingOut, made, 201)


def _asked(piece: Piece, dimension: str) -> AskedLength:
    """Judged by what the piece has, as on its page; by what is usual where nothing is known."""
    asked = DIMENSION[dimension]
    return asked if known_size(piece, dimension) is None else replace(asked, usual_mm=None)


class PieceWork(Door):
    """Write past work down: a regrind with its diameters before and after, and the rest."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=WorkIn, responses={201: WorkOut})
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(WorkIn, request)
        sizes = {
            name: (values.pop(f"{name}_before", None), values.pop(f"{name}_after", None))
            for name in DIMENSIONS
        }
        if "revision" in values:
            values["revision"] = revision_of(piece.drawing, values["revision"])
        made = work.record_work(
            by=by(request),
            at=timezone.now(),
            piece=piece,
            sizes=sizes,
            corrects=_corrected(values, Work, piece),
            **values,
        )
        return answer(WorkOut, _with_measures(made), 201)


class PieceLengths(Door):
    """Add strip length that a piece ran, strokes that line tooling made, or both."""

    verbs = {"POST": Verb.RECORD_READINGS}

    @extend_schema(request=LengthRunIn, responses={201: LengthRunOut})
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(LengthRunIn, request)
        told = "length_m" in values or "length_ft" in values or not values["strokes"]
        unit: Any = "m"
        text = "0"
        if told:
            unit, text = _one_of(values, "length", ("m", "ft"))
        made = lengths_run.record_length(
            by=by(request),
            at=timezone.now(),
            piece=piece,
            length_nm=parse_strip_length(text, unit=unit, field=str(_("Length run"))).nm,
            corrects=_corrected(values, LengthEntry, piece),
            **values,
        )
        return answer(LengthRunOut, made, 201)


def _one_of(values: dict[str, Any], name: str, units: tuple[Any, Any]) -> tuple[Any, str]:
    """The one spelling that was sent, with its unit."""
    there = {unit: values.pop(f"{name}_{unit}", None) for unit in units}
    said = [(unit, text) for unit, text in there.items() if text is not None]
    if not said:
        raise serializers.ValidationError(
            {f"{name}_{units[0]}": [str(_("This field is required."))]}
        )
    if len(said) > 1:
        raise ToolingError(
            "ambiguous_length",
            _("The value is given in {one} and in {other}. Send one of the two."),
            one=units[0],
            other=units[1],
            in_field=f"{name}_{units[0]}",
        )
    return said[0]


def _corrected(values: dict[str, Any], model: Any, piece: Piece) -> Any:
    """The piece's entry that is put right, if one is named."""
    number = values.pop("corrects", None)
    return entry_of(model, piece, number) if number is not None else None


def _with_measures(made: Work) -> Any:
    return {
        **{name: getattr(made, name) for name in ("id", "piece", "kind", "done_on", "done_by")},
        "measures": list(made.measures.order_by("dimension")),
        "corrects_id": made.corrects_id,
        "note": made.note,
    }
