"""Files by their content: ``FILES_DIR/<sha256>``, written before the row that names them."""

from __future__ import annotations

import errno
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, cast

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from tooling.errors import NoRoom, ToolingError, Unknown
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
INCOMING = ".incoming-"
CHUNK = 64 * 1024
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


Upload = UploadedFile
"""What a browser or a program sent, wherever it lies meanwhile."""


def content_type(data: bytes) -> str:
    """What the bytes are, by their beginning; never by the name."""
    for start, kind in SIGNATURES:
        if data.startswith(start):
            return kind
    return UNKNOWN if b"\x00" in data[:4096] else PLAIN


def store(*, data: bytes, at: datetime) -> StoredFile:
    """Keep the bytes once, however often they come.

    Raises ToolingError ``file_too_large`` or ``empty_file``, NoRoom ``no_room``. The caller
    checks who may.
    """
    check_size(len(data))
    return _keep([data], at=at)


def store_made(*, data: bytes, at: datetime) -> StoredFile:
    """Keep what the house itself made, however large. Raises NoRoom ``no_room``."""
    return _keep([data], at=at)


def store_upload(*, upload: Upload, at: datetime) -> StoredFile:
    """The same for what is sent, a little at a time: it is never in memory whole."""
    check_upload(upload)
    return _keep(upload.chunks(CHUNK), at=at)


def store_chunks(*, chunks: Iterable[bytes], at: datetime) -> StoredFile:
    """The same for what the house itself makes piece by piece, of whatever size.

    Raises NoRoom ``no_room``.
    """
    return _keep(chunks, at=at, check=lambda size: None)


def check_upload(upload: Upload) -> None:
    """Raise ``file_too_large``, ``empty_file`` or ``no_room`` before anything is read."""
    trouble = getattr(upload, "trouble", None)
    if trouble is not None:
        raise trouble
    check_size(upload.size or 0)


def opened(upload: Upload) -> BinaryIO:
    """What was sent, as a file to read from. Raises as `check_upload`."""
    check_upload(upload)
    if upload.file is None:
        raise ToolingError("empty_file", _("The file is empty."), in_field="file")
    return cast(BinaryIO, upload.file)


def head_of(upload: Upload) -> bytes:
    """The first bytes, by which its kind is told. Raises as `check_upload`."""
    check_upload(upload)
    return next(iter(upload.chunks(CHUNK)), b"")


def check_size(size: int) -> None:
    """Raise ``empty_file`` or ``file_too_large``. Bytes."""
    if not size:
        raise ToolingError("empty_file", _("The file is empty."), in_field="file")
    if size > settings.UPLOAD_MOST_BYTES:
        raise too_large(size)


def too_large(size: int) -> ToolingError:
    """The file has more bytes than are kept."""
    return ToolingError(
        "file_too_large",
        _("The file has {size} MB; at most {most} MB are kept."),
        size=size // 1_000_000,
        most=settings.UPLOAD_MOST_BYTES // 1_000_000,
        in_field="file",
    )


def no_room() -> NoRoom:
    """The disk is full: said as it is, since a person can do something about it."""
    return NoRoom(
        "no_room",
        _("The server's disk is full, so the file was not kept. Tell whoever looks after it, "
          "and send the file again when there is room."),
    )  # fmt: skip


@contextmanager
def full_disk_is_said() -> Iterator[None]:
    """Turn the system's word for a full disk into ``no_room``; anything else passes."""
    try:
        yield
    except OSError as error:
        if error.errno not in FULL:
            raise
        raise no_room() from error


def _keep(
    chunks: Iterable[bytes], *, at: datetime, check: Callable[[int], None] = check_size
) -> StoredFile:
    """Write, sync, then rename and name it in one transaction.

    The renaming lies inside the transaction, so that ``sweep`` cannot take the file away
    between the two.
    """
    folder = Path(settings.FILES_DIR)
    with full_disk_is_said():
        folder.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=INCOMING)
        try:
            with os.fdopen(handle, "wb") as file:
                name, size, kind = _copy(chunks, file, check)
            with writing():
                _put_in_place(Path(temporary), folder / name)
                row, _made = StoredFile.objects.get_or_create(
                    sha256=name, defaults={"content_type": kind, "size": size, "stored_at": at}
                )
        finally:
            Path(temporary).unlink(missing_ok=True)
    return row


def _copy(
    chunks: Iterable[bytes], file: BinaryIO, check: Callable[[int], None]
) -> tuple[str, int, str]:
    """Name, size and kind of what was written, which is on the disk when this returns."""
    digest, size, start = hashlib.sha256(), 0, b""
    for chunk in chunks:
        if len(start) < 4096:
            start = (start + chunk)[:4096]
        size += len(chunk)
        check(size)
        digest.update(chunk)
        file.write(chunk)
    check(size)
    file.flush()
    os.fsync(file.fileno())
    return digest.hexdigest(), size, content_type(start)


def _put_in_place(temporary: Path, target: Path) -> None:
    """Bytes that are there already are touched, which keeps a sweep away for a day."""
    if target.exists():
        os.utime(target)
        return
    os.replace(temporary, target)
    folder = os.open(target.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def read(file: StoredFile) -> bytes:
    """The bytes. Raises Unknown ``file_missing`` when the folder lost them."""
    with open_file(file) as opened:
        return opened.read()


def open_file(file: StoredFile) -> BinaryIO:
    """The bytes, to be sent a little at a time. Raises Unknown ``file_missing``."""
    try:
        return path_of(file).open("rb")
    except FileNotFoundError as error:
        raise Unknown(
            "file_missing",
            _("File {name} is not in the files folder. Restore it from a backup."),
            name=file.sha256[:12],
        ) from error


def path_of(file: StoredFile) -> Path:
    """Where the bytes lie."""
    return Path(settings.FILES_DIR) / file.sha256
