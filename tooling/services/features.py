"""What a die makes in the strip: the holes, slots, notches and cuts of a line tool's drawing."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import DrawingFeature, DrawingKind, DrawingRevision, Person
from tooling.permissions import Verb, check_can
from tooling.services.edits import apply_edit, record_creation, record_removal
from tooling.services.write import writing

SHAPES = dict(DrawingFeature._meta.get_field("shape").choices or ())
MOST_ORDER = 99
ONE_SIZE = "round"


def save_feature(
    *,
    by: Person,
    at: datetime,
    revision: DrawingRevision,
    shape: str,
    order: int | None = None,
    name: str = "",
    width_nm: int | None = None,
    length_nm: int | None = None,
    note: str = "",
) -> DrawingFeature:
    """Add a feature after the last one, or change the one of that order. Sizes in nm; a round
    hole's diameter is its width.

    Raises ``makes_no_features``, ``unknown_shape``, ``absurd_count``, ``not_positive``,
    ``round_has_one_size``, ``longer_way_first``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    check_drawing(revision)
    check_sizes(shape, width_nm, length_nm, "in" if revision.unit == "in" else "mm")
    fields = {
        "shape": shape,
        "name": " ".join(name.split())[:60],
        "width_nm": width_nm,
        "length_nm": length_nm,
        "note": " ".join(note.split())[:200],
    }
    with writing():
        last = revision.features.order_by("-order").first()
        order = order if order is not None else (last.order + 1 if last else 1)
        if not 1 <= order <= MOST_ORDER:
            raise ToolingError(
                "absurd_count",
                _("A drawing lists features 1 to {most}; {order} cannot be."),
                most=MOST_ORDER,
                order=order,
                in_field="order",
            )
        row = revision.features.filter(order=order).first()
        if row is None:
            row = DrawingFeature.objects.create(revision=revision, order=order, **fields)
            record_creation(by=by, at=at, row=row, key=feature_key(revision, order), fields=fields)
        else:
            apply_edit(by=by, at=at, row=row, key=feature_key(revision, order), fields=fields)
    return row


def remove_feature(*, by: Person, at: datetime, revision: DrawingRevision, order: int) -> None:
    """The die does not make it any more. Raises Unknown ``unknown_feature``."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        row = revision.features.filter(order=order).first()
        if row is None:
            raise Unknown(
                "unknown_feature", _("The drawing lists no feature {order}."), order=order
            )
        fields = {"shape": row.shape, "width_nm": row.width_nm, "length_nm": row.length_nm}
        record_removal(by=by, at=at, row=row, key=feature_key(revision, order), fields=fields)
        row.delete()


def copy_features(*, of: DrawingRevision, to: DrawingRevision) -> None:
    """A new revision makes what the one before made, until somebody changes it. Call inside the
    write of the revision."""
    DrawingFeature.objects.bulk_create(
        DrawingFeature(
            revision=to,
            order=row.order,
            shape=row.shape,
            name=row.name,
            width_nm=row.width_nm,
            length_nm=row.length_nm,
            note=row.note,
        )
        for row in of.features.order_by("order")
    )


def check_drawing(revision: DrawingRevision) -> None:
    """Raise Conflict ``makes_no_features`` for anything but line tooling."""
    if revision.drawing.kind != DrawingKind.LINE_TOOLING:
        raise Conflict(
            "makes_no_features",
            _("{drawing} is a {kind}. Only line tooling, such as a die, makes holes and cuts."),
            drawing=revision.drawing.number,
            kind=revision.drawing.get_kind_display(),
            in_field="shape",
        )


def check_sizes(shape: str, width_nm: int | None, length_nm: int | None, unit: Unit) -> None:
    """Raise ``unknown_shape``, ``not_positive``, ``round_has_one_size``, ``longer_way_first``."""
    if shape not in SHAPES:
        raise ToolingError(
            "unknown_shape", _("“{shape}” is no shape of a feature."), shape=shape, in_field="shape"
        )
    for field, size in (("width_nm", width_nm), ("length_nm", length_nm)):
        if size is not None and size <= 0:
            raise ToolingError(
                "not_positive",
                _("{dimension} must be above nothing."),
                dimension=_("Width") if field == "width_nm" else _("Length"),
                in_field=field,
            )
    if shape == ONE_SIZE and length_nm is not None:
        raise ToolingError(
            "round_has_one_size",
            _("A round hole has a diameter only: write it as the width and leave the length out."),
            in_field="length_nm",
        )
    if shape == "slot" and width_nm and length_nm and length_nm < width_nm:
        raise ToolingError(
            "longer_way_first",
            _("A slot is longer than wide; {length} is less than {width}. Exchange the two."),
            length=say_length(length_nm, unit),
            width=say_length(width_nm, unit),
            in_field="length_nm",
        )


def feature_key(revision: DrawingRevision, order: int) -> str:
    """By which its changes are filed."""
    return f"{revision.drawing.number} {revision.revision} feature {order}"[:60]
