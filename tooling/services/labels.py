"""Labels issued, printed again, made void, replaced: each is a row of history."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from django.db.models import F, Value
from django.db.models.functions import Replace
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import read_code
from tooling.errors import ToolingError
from tooling.models import (
    Kit,
    KitPosition,
    LabelEvent,
    Person,
    Piece,
    Place,
    Station,
    StockLine,
    StoredFile,
    ToolSet,
)
from tooling.paper.label_layout import LabelText
from tooling.paper.label_sizes import size_named
from tooling.paper.labels import labels_pdf
from tooling.permissions import Verb, check_can
from tooling.queries.labels import label_lines
from tooling.queries.scan_lookup import void_label, void_labels
from tooling.services import files, tasks
from tooling.services.codes import next_codes
from tooling.services.write import bump, lock, record_change, writing

MOST_AT_ONCE = 300
"""More labels than this are drawn by the worker."""

LONGEST_REASON = 200

REPLACED: dict[str, type[Any]] = {
    **dict.fromkeys("RSDLH", Piece),
    "B": StockLine,
    **dict.fromkeys("PC", Place),
    "T": ToolSet,
    "M": Station,
}


def texts(*, codes: Sequence[str]) -> list[LabelText]:
    """What stands on these labels. Raises as ``label_lines``: unknown and void ones among them."""
    return [
        LabelText(line.code, line.headline, line.lines, line.kind_word)
        for line in label_lines(codes)
    ]


def draw(
    *,
    codes: Sequence[str],
    size: str,
    skip: int = 0,
    progress: Callable[[float], None] | None = None,
) -> bytes:
    """The labels as PDF; writes nothing. Raises as ``texts`` and ``labels_pdf``."""
    return labels_pdf(texts(codes=codes), size=size, skip=skip, progress=progress)


def issue(
    *, by: Person, at: datetime, codes: Sequence[str], size: str, reason: str = ""
) -> list[LabelEvent]:
    """Record that these labels go to the printer: issued the first time, printed after that.

    Raises as ``label_lines``, and ToolingError ``unknown_label_size``.
    """
    check_can(by, Verb.ISSUE_LABELS)
    size_named(size)
    label_lines(codes)
    with writing():
        known = LabelEvent.objects.filter(code__in=codes, what__in=("issue", "print"))
        before = set(known.values_list("code", flat=True).distinct())
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
    """Issue the labels; when they are many, have the worker draw and issue them instead, and give
    back the task's number. Raises as ``draw``."""
    check_can(by, Verb.ISSUE_LABELS)
    if len(codes) <= MOST_AT_ONCE:
        draw(codes=codes, size=size, skip=skip)
        issue(by=by, at=at, codes=codes, size=size)
        return None
    draw(codes=codes[:1], size=size, skip=skip)
    label_lines(codes)
    given = {"codes": list(codes), "size": size, "skip": skip}
    return tasks.ask(by=by, at=at, kind="labels", given=given).pk


def draw_and_keep(
    *,
    by: Person,
    at: datetime,
    task_id: int,
    codes: Sequence[str],
    size: str,
    skip: int,
    progress: Callable[[float], None],
) -> StoredFile:
    """The worker's part: the PDF as the task's file, and its labels issued, in one write."""
    data = draw(codes=codes, size=size, skip=skip, progress=progress)
    with writing():
        file = files.store(data=data, at=at)
        tasks.keep_file(task_id=task_id, file=file)
        issue(by=by, at=at, codes=codes, size=size)
    return file


def void(*, by: Person, at: datetime, code: str, reason: str) -> LabelEvent:
    """A label that must not be used any more: lost, stuck on the wrong piece, unreadable.

    Raises ToolingError ``no_reason``, ``reason_too_long``, what ``read_code`` raises, Unknown
    ``unknown_code``, Conflict ``void_label``.
    """
    check_can(by, Verb.ISSUE_LABELS)
    text = _checked(code, reason)
    with writing():
        label_lines([text])
        return LabelEvent.objects.create(at=at, by=by, code=text, what="void", reason=reason)


def reissue(*, by: Person, at: datetime, code: str, reason: str) -> str:
    """A new code in the place of one that becomes void, or was made void before and not yet
    replaced; gives back the new code.

    Raises as ``void``, and ToolingError ``kit_label_is_its_number`` for a kit.
    """
    check_can(by, Verb.ISSUE_LABELS)
    old = _checked(code, reason)
    letter = old[0]
    if letter not in REPLACED:
        raise ToolingError(
            "kit_label_is_its_number",
            _("A kit's label is its number {label} and stays with it. Print it again."),
            label=old,
        )
    with writing():
        subject = _locked(REPLACED[letter], old)
        if old not in void_labels([old]):
            LabelEvent.objects.create(at=at, by=by, code=old, what="void", reason=reason)
        new = next_codes(kind=letter)[0]
        LabelEvent.objects.create(
            at=at, by=by, code=new, what="reissue", replaces=old, reason=reason
        )
        _rename(subject, new)
        record_change(
            by=by, at=at, subject=subject, key=new, what="relabelled", before={"code": old},
            after={"code": new}, reason=reason,
        )  # fmt: skip
    return new


def _checked(code: str, reason: str) -> str:
    if not reason.strip():
        raise ToolingError("no_reason", _("Say why: lost, unreadable, on the wrong piece."))
    if len(reason) > LONGEST_REASON:
        raise ToolingError(
            "reason_too_long",
            _("The reason has {count} characters; at most {most} are kept. Say it shorter."),
            count=len(reason),
            most=LONGEST_REASON,
        )
    return read_code(code).text


def _locked(model: type[Any], code: str) -> Any:
    """The thing with this label, held with the open kits that show it, kits first.

    Raises Conflict ``void_label`` where another label took its place, Unknown ``unknown_code``.
    """
    found = model.objects.filter(code=code).values_list("pk", flat=True).first()
    if found is None:
        label_lines([code])
    kits = _kits_that_show(model, found)
    lock(
        kits=kits,
        places=[found] if model is Place else (),
        pieces=[found] if model is Piece else (),
        stock=[found] if model is StockLine else (),
    )
    subject = model.objects.select_for_update().filter(pk=found, code=code).first()
    if subject is None:  # replaced by somebody else while this one waited
        raise void_label(code, void_labels([code]).get(code, ""))
    bump(kits)
    return subject


def _kits_that_show(model: type[Any], pk: int | None) -> list[int]:
    """Open kits on whose page the label stands: the claimed piece, else any that may name it."""
    if model is Piece:
        claims = KitPosition.objects.filter(piece=pk, is_open=True)
        return list(claims.values_list("kit_id", flat=True).distinct())
    return list(Kit.objects.exclude(state="closed").values_list("pk", flat=True))


def _rename(subject: Any, new: str) -> None:
    old, subject.code = subject.code, new
    subject.save(update_fields=["code"])
    if isinstance(subject, Place):
        inside = Place.objects.filter(path__contains=f"/{old}/")
        inside.update(path=Replace(F("path"), Value(f"/{old}/"), Value(f"/{new}/")))
