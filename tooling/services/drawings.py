"""Drawings and their revisions; what a new revision says of pieces made to the old one."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Drawing, DrawingKind, DrawingRevision, Person
from tooling.permissions import Verb, check_can
from tooling.queries.prefixes import capitals
from tooling.services.dimensions import check_revision
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.features import copy_features
from tooling.services.touched import touch_kits_of
from tooling.services.write import writing


def create_drawing(
    *,
    by: Person,
    at: datetime,
    number: str,
    kind: str,
    title: str = "",
    revision: str = "A",
    reason: str = "",
    **fields: Any,
) -> DrawingRevision:
    """A drawing with its first revision.

    Raises ``already_there``, ``unknown_kind`` and what `check_revision` says of the sizes.
    """
    check_can(by, Verb.EDIT_RECORDS)
    number = require_text(number, field="number", label=_("Drawing number"), longest=40)
    if kind not in DrawingKind.values:
        raise ToolingError(
            "unknown_kind", _("“{kind}” is no kind of drawing."), kind=kind, in_field="kind"
        )
    with writing():
        if Drawing.objects.filter(number_key__in=capitals(number)).exists():
            raise already_there(label=_("Drawing"), text=number, field="number")
        drawing = Drawing.objects.create(number=number, kind=kind, title=title)
        values = {"number": number, "kind": kind, "title": title}
        record_creation(by=by, at=at, row=drawing, key=number, fields=values)
        return _add_revision(
            by=by, at=at, drawing=drawing, revision=revision, reason=reason, fields=fields
        )


def edit_drawing(*, by: Person, at: datetime, drawing: Drawing, title: str) -> Drawing:
    """Change the title. Number and kind stand on labels and sheets and stay."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        fresh = Drawing.objects.select_for_update().get(pk=drawing.pk)
        fields = {"title": " ".join(title.split())[:120]}
        apply_edit(by=by, at=at, row=fresh, key=fresh.number, fields=fields)
    return fresh


def new_revision(
    *,
    by: Person,
    at: datetime,
    drawing: Drawing,
    revision: str,
    old_pieces: str,
    reason: str = "",
    **fields: Any,
) -> DrawingRevision:
    """A further revision, which becomes the current one; ``old_pieces`` says what becomes of
    pieces made to the one before. Raises ``already_there`` and as `check_revision`."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        row = _add_revision(
            by=by,
            at=at,
            drawing=drawing,
            revision=revision,
            reason=reason,
            fields={**fields, "old_pieces": old_pieces},
        )
        touch_kits_of(drawings=[drawing.pk])
    return row


def edit_revision(
    *, by: Person, at: datetime, revision: DrawingRevision, reason: str = "", **fields: Any
) -> DrawingRevision:
    """Put the drawn sizes right. Raises as `check_revision`."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(DrawingRevision, fields)
    if {"drawing", "revision", "is_current"} & set(fields):
        raise Conflict("revision_stays", _("A revision keeps its letter. Make a new revision."))
    with writing():
        rows = DrawingRevision.objects.select_for_update().select_related("drawing")
        fresh = rows.get(pk=revision.pk)
        merged = {each.attname: getattr(fresh, each.attname) for each in fresh._meta.fields}
        check_revision(kind=fresh.drawing.kind, values={**merged, **fields}, reason=reason)
        key = f"{fresh.drawing.number} {fresh.revision}"[:60]
        if apply_edit(by=by, at=at, row=fresh, key=key, fields=fields, reason=reason):
            touch_kits_of(drawings=[fresh.drawing_id])
    return fresh


def _add_revision(
    *,
    by: Person,
    at: datetime,
    drawing: Drawing,
    revision: str,
    reason: str,
    fields: dict[str, Any],
) -> DrawingRevision:
    require_fields(DrawingRevision, fields)
    revision = require_text(revision, field="revision", label=_("Revision"), longest=10)
    check_revision(kind=drawing.kind, values=fields, reason=reason)
    if drawing.revisions.filter(revision__iexact=revision).exists():
        raise already_there(label=_("Revision"), text=revision, field="revision")
    before = drawing.revisions.filter(is_current=True).first()
    drawing.revisions.filter(is_current=True).update(is_current=False)
    row = DrawingRevision.objects.create(drawing=drawing, revision=revision, **fields)
    if before is not None:
        copy_features(of=before, to=row)
    key = f"{drawing.number} {revision}"[:60]
    record_creation(
        by=by, at=at, row=row, key=key, fields={**fields, "revision": revision, "reason": reason}
    )
    return row
