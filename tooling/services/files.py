"""Files by their content: ``FILES_DIR/<sha256>``, written before the row that names them."""

from __future__ import annotations

import hashlib
import os
import tempfile
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError, Unknown
from tooling.models import StoredFile
from tooling.services.write import writing

SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"PK\x03\x04", "application/zip"),
    (b"ISO-10303-21;", "model/step"),
)
PLAIN = "text/plain; charset=utf-8"
UNKNOWN = "application/octet-stream"


def content_type(data: bytes) -> str:
    """What the bytes are, by their beginning; never by the name."""
    for start, kind in SIGNATURES:
        if data.startswith(start):
            return kind
    return UNKNOWN if b"\x00" in data[:4096] else PLAIN


def store(*, data: bytes, at: datetime) -> StoredFile:
    """Keep the bytes once, however often they come.

    Raises ToolingError ``file_too_large`` or ``empty_file``. The caller checks who may.
    """
    if not data:
        raise ToolingError("empty_file", _("The file is empty."))
    if len(data) > settings.UPLOAD_MOST_BYTES:
        raise ToolingError(
            "file_too_large",
            _("The file has {size} MB; at most {most} MB are kept."),
            size=len(data) // 1_000_000,
            most=settings.UPLOAD_MOST_BYTES // 1_000_000,
        )
    name = hashlib.sha256(data).hexdigest()
    _write(settings.FILES_DIR / name, data)
    with writing():
        file, _made = StoredFile.objects.get_or_create(
            sha256=name,
            defaults={"content_type": content_type(data), "size": len(data), "stored_at": at},
        )
    return file


def _write(target: Path, data: bytes) -> None:
    if target.exists():
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".incoming-")
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.replace(temporary, target)


def read(file: StoredFile) -> bytes:
    """The bytes. Raises Unknown ``file_missing`` when the folder lost them."""
    path = path_of(file)
    if not path.exists():
        raise Unknown(
            "file_missing",
            _("File {name} is not in the files folder. Restore it from a backup."),
            name=file.sha256[:12],
        )
    return path.read_bytes()


def path_of(file: StoredFile) -> Path:
    """Where the bytes lie."""
    return Path(settings.FILES_DIR) / file.sha256


def read_named(*, sha256: str) -> bytes:
    """The bytes of the stored file of this name. Raises Unknown ``file_missing``."""
    file = StoredFile.objects.filter(sha256=sha256).first()
    if file is None:
        raise Unknown("file_missing", _("There is no stored file {name}."), name=sha256[:12])
    return read(file)
