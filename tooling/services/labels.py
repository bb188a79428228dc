"""Labels issued, printed again, made void, replaced: each is a row of history."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import F, Value
from django.db.models.functions import Replace
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import read_code
from tooling.errors import Conflict, ToolingError
from tooling.models import LabelEvent, Person, Piece, Place, Station, StockLine, StoredFile, ToolSet
from tooling.paper.label_layout import LabelText
from tooling.paper.labels import labels_pdf
from tooling.permissions import Verb, check_can
from tooling.queries.labels import label_lines
from tooling.services import files, tasks
from tooling.services.codes import next_codes
from tooling.services.touched import touch_kits_of
from tooling.services.write import record_change, writing

MOST_AT_ONCE = 300
"""More labels than this are drawn by the worker."""

REPLACED: dict[str, type[Any]] = {
    **dict.fromkeys("RSDLH", Piece),
    "B": StockLine,
    **dict.fromkeys("PC", Place),
    "T": ToolSet,
    "M": Station,
}


def texts(*, codes: Sequence[str]) -> list[LabelText]:
    """What stands on these labels. Raises Unknown ``unknown_code``."""
    return [
        LabelText(line.code, line.headline, line.lines, line.kind_word)
        for line in label_lines(codes)
    ]


def draw(*, codes: Sequence[str], size: str, skip: int = 0) -> bytes:
    """The labels as PDF; writes nothing. Raises as ``texts`` and ``labels_pdf``."""
    return labels_pdf(texts(codes=codes), size=size, skip=skip)


def issue(
    *, by: Person, at: datetime, codes: Sequence[str], size: str, reason: str = ""
) -> list[LabelEvent]:
    """Record that these labels go to the printer: issued the first time, printed after that."""
    check_can(by, Verb.ISSUE_LABELS)
    label_lines(codes)
    with writing():
        before = set(
            LabelEvent.objects.filter(code__in=codes).values_list("code", flat=True).distinct()
        )
        rows = [
            LabelEvent(
                at=at, by=by, code=code, what="print" if code in before else "issue", size=size,
                reason=reason,
            )
            for code in codes
        ]  # fmt: skip
        return LabelEvent.objects.bulk_create(rows, batch_size=400)


def ask_for_sheets(
    *, by: Person, at: datetime, codes: Sequence[str], size: str, skip: int
) -> int | None:
    """Issue the labels; when they are many, queue their drawing and give back the task's number."""
    check_can(by, Verb.ISSUE_LABELS)
    if len(codes) <= MOST_AT_ONCE:
        issue(by=by, at=at, codes=codes, size=size)
        return None
    with writing():
        issue(by=by, at=at, codes=codes, size=size)
        given = {"codes": list(codes), "size": size, "skip": skip}
        return tasks.ask(by=by, at=at, kind="labels", given=given).pk


def draw_and_keep(*, at: datetime, codes: Sequence[str], size: str, skip: int) -> StoredFile:
    """The worker's part: the PDF as a stored file."""
    return files.store(data=draw(codes=codes, size=size, skip=skip), at=at)


def void(*, by: Person, at: datetime, code: str, reason: str) -> LabelEvent:
    """A label that must not be used any more: lost, stuck on the wrong piece, unreadable.

    Raises ToolingError ``no_reason``, ``unknown_code``; Conflict ``void_label``.
    """
    check_can(by, Verb.ISSUE_LABELS)
    code = _checked(code, reason)
    with writing():
        _check_not_void(code)
        return LabelEvent.objects.create(at=at, by=by, code=code, what="void", reason=reason)


def reissue(*, by: Person, at: datetime, code: str, reason: str) -> str:
    """A new code in the place of one that becomes void; gives back the new code.

    Raises as ``void``, and ToolingError ``kit_label_is_its_number`` for a kit.
    """
    check_can(by, Verb.ISSUE_LABELS)
    code = _checked(code, reason)
    letter = code[0]
    if letter not in REPLACED:
        raise ToolingError(
            "kit_label_is_its_number",
            _("A kit's label is its number {label} and stays with it. Print it again."),
            label=code,
        )
    with writing():
        subject = REPLACED[letter].objects.select_for_update().get(code=code)
        _check_not_void(code)
        new = next_codes(kind=letter)[0]
        LabelEvent.objects.create(at=at, by=by, code=code, what="void", reason=reason)
        LabelEvent.objects.create(
            at=at, by=by, code=new, what="reissue", replaces=code, reason=reason
        )
        subject.code = new
        subject.save(update_fields=["code"])
        if isinstance(subject, Place):
            _rename_in_paths(code, new)
        if isinstance(subject, Piece):
            touch_kits_of(pieces=[subject.pk])
        record_change(
            by=by, at=at, subject=subject, key=new, what="relabelled", before={"code": code},
            after={"code": new}, reason=reason,
        )  # fmt: skip
    return new


def _rename_in_paths(old: str, new: str) -> None:
    """The codes in the paths of the place and all inside it."""
    Place.objects.filter(path__contains=f"/{old}/").update(
        path=Replace(F("path"), Value(f"/{old}/"), Value(f"/{new}/"))
    )


def _checked(code: str, reason: str) -> str:
    if not reason.strip():
        raise ToolingError(
            "no_reason", _("Say why: lost, unreadable, on the wrong piece."), in_field="reason"
        )
    text = read_code(code).text
    label_lines([text])
    return text


def _check_not_void(code: str) -> None:
    newest = LabelEvent.objects.filter(code=code).order_by("-id").first()
    if newest is not None and newest.what == "void":
        raise Conflict("void_label", _("The label {label} is void already."), label=code)
