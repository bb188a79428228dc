"""Files of drawings: what may be attached is told by its bytes, never by its name."""

from __future__ import annotations

from datetime import datetime
from pathlib import PurePath

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import DrawingFile, DrawingRevision, Person
from tooling.permissions import Verb, check_can
from tooling.services import files
from tooling.services.edits import record_creation, require_text
from tooling.services.write import writing

_HEADS = (
    b"%PDF-",
    b"\x89PNG\r\n\x1a\n",
    b"\xff\xd8\xff",
    b"ISO-10303-21;",
    b"AC10",
    b"AutoCAD Binary DXF",
)


def attach(
    *, by: Person, at: datetime, revision: DrawingRevision, upload: files.Upload
) -> DrawingFile:
    """Put a PDF, PNG, JPEG, DXF, DWG, STEP or IGES file beside a revision.

    Raises ToolingError ``unknown_file_type``, ``already_there``, ``empty_text``, and what
    `files.store_upload` says.
    """
    check_can(by, Verb.EDIT_RECORDS)
    name = PurePath(upload.name or "").name
    name = require_text(name, field="file", label=_("File name"), longest=160)
    check_type(name=name, head=files.head_of(upload))
    stored = files.store_upload(upload=upload, at=at)
    with writing():
        if DrawingFile.objects.filter(revision=revision, name=name).exists():
            raise ToolingError(
                "already_there",
                _("Revision {revision} has a file {name} already. Give this one another name."),
                revision=revision.revision,
                name=name,
                in_field="file",
            )
        row = DrawingFile.objects.create(revision=revision, file=stored, name=name, by=by, at=at)
        values = {"name": name, "sha256": stored.sha256}
        key = f"{revision.drawing.number} {revision.revision}"
        record_creation(by=by, at=at, row=row, key=key[:60], fields=values)
    return row


def check_type(*, name: str, head: bytes) -> None:
    """Raise ``unknown_file_type`` unless the bytes begin as a drawing's file does."""
    if not head.startswith(_HEADS) and not _is_text_dxf(head) and not _is_iges(head):
        raise ToolingError(
            "unknown_file_type",
            _("{name} is not a PDF, PNG, JPEG, DXF, DWG, STEP or IGES file inside. Save it as "
              "one."),
            name=name,
            in_field="file",
        )  # fmt: skip


def _is_iges(head: bytes) -> bool:
    """Lines of 80 characters, each with the letter of its section in column 73 and its number in
    the last seven; the first is the first of the start section (IGES 5.3, 2.2.4)."""
    first = head[:80]
    return len(first) == 80 and first[72:73] == b"S" and first[73:].strip().lstrip(b"0") == b"1"


def _is_text_dxf(data: bytes) -> bool:
    """A DXF begins with group 0, SECTION; comments (group 999) may stand before it."""
    lines = [line.strip() for line in data[:4096].splitlines()[:40]]
    while len(lines) >= 2 and lines[0] == b"999":
        lines = lines[2:]
    return lines[:2] == [b"0", b"SECTION"]
