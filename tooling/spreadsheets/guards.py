"""What a file is, judged by its content and never by its name, and whether it is safe to open."""

from __future__ import annotations

import zipfile

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.sources import Source, blocks_of, head_of, opened, size_of

MOST_BYTES = 50_000_000
MOST_UNPACKED_BYTES = 400_000_000
MOST_RATIO = 150
RATIO_MATTERS_FROM_BYTES = 5_000_000
MOST_MEMBERS = 5_000

_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM", b"II*\x00", b"MM\x00*", b"RIFF")
_TEXT = bytes({*range(32, 256), *b"\t\r\n\x0b\x0c"})
_BLANK = b" \t\r\n\x00\xef\xbb\xbf"
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


def _refuse(name: str, what: object) -> ToolingError:
    return ToolingError(
        "no_spreadsheet",
        _("“{name}” is no spreadsheet: {what}. Bring a CSV file or an Excel workbook (.xlsx)."),
        name=name,
        what=what,
    )


def _too_large(name: str, what: object) -> ToolingError:
    return ToolingError(
        "file_too_large",
        _("“{name}” is not opened: {what}. Split it into smaller files."),
        name=name,
        what=what,
    )


def _unpacks_too_large(name: str) -> ToolingError:
    return ToolingError(
        "unpacks_too_large",
        _("“{name}” is not opened: unpacked it would fill far more memory than a workbook of its "
          "size should. Copy the rows into a new workbook and bring that."),
        name=name,
    )  # fmt: skip


def damaged(name: str) -> ToolingError:
    """A workbook that cannot be read to its end."""
    return ToolingError(
        "damaged_file",
        _("“{name}” is damaged or incomplete and cannot be read. Open it, save it again as .xlsx, "
          "bring that."),
        name=name,
    )  # fmt: skip


def _locked(name: str) -> ToolingError:
    return ToolingError(
        "locked_workbook",
        _("“{name}” is locked with a password. Open it, take the password off, save it, and bring "
          "it again."),
        name=name,
    )  # fmt: skip


def check_file(source: Source, *, name: str) -> str:
    """``"xlsx"`` or ``"csv"``, by the content.

    Raises ToolingError ``empty_file``, ``file_too_large``, ``unpacks_too_large``, ``old_excel``,
    ``locked_workbook``, ``damaged_file``, ``no_spreadsheet``.
    """
    if size_of(source) > MOST_BYTES:
        raise _too_large(name, _("it is larger than 50 MB"))
    if not any(block.strip(_BLANK) for block in blocks_of(source)):
        raise ToolingError(
            "empty_file", _("“{name}” is empty. Bring a file that holds rows."), name=name
        )
    head = head_of(source, 4096)
    if head.startswith(b"PK"):
        _check_zip(source, name=name)
        return "xlsx"
    if head.startswith(_OLE):
        raise _ole(source, name)
    _check_text(source, head, name=name)
    return "csv"


def _ole(source: Source, name: str) -> ToolingError:
    """Excel writes workbooks with a password, and all that are older than 2007, in this form."""
    if any(_ENCRYPTED in block for block in blocks_of(source)):
        return _locked(name)
    return ToolingError(
        "old_excel",
        _("“{name}” is an Excel file of the old kind (.xls). Open it, save it as .xlsx, and bring "
          "that."),
        name=name,
    )  # fmt: skip


def _check_text(source: Source, beginning: bytes, *, name: str) -> None:
    head = beginning.lstrip(b"\xef\xbb\xbf \t\r\n")
    if head.startswith(b"%PDF"):
        raise _refuse(name, _("it is a PDF"))
    if head.startswith(_PICTURES):
        raise _refuse(name, _("it is a picture"))
    if head.startswith((b"<", b"{\\rtf")):
        raise _refuse(name, _("it is a web page or another marked-up text"))
    if head.startswith((b"{", b"[{")):
        raise _refuse(name, _("it is JSON"))
    if beginning.startswith(_UTF16):
        return
    odd = len(head.translate(None, _TEXT)) > 8
    if odd or any(b"\x00" in block for block in blocks_of(source)):
        raise _refuse(name, _("it holds something other than text"))


def _check_zip(source: Source, *, name: str) -> None:
    try:
        with opened(source) as stream, zipfile.ZipFile(stream) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError):
        raise damaged(name) from None
    names = {member.filename for member in members}
    if "mimetype" in names and "content.xml" in names:
        raise _refuse(name, _("it is an OpenDocument file; save it as .xlsx"))
    if "xl/workbook.bin" in names:
        raise _refuse(name, _("it is a binary workbook; save it as .xlsx"))
    if "[Content_Types].xml" not in names or not any(n.startswith("xl/") for n in names):
        raise _refuse(name, _("it is an archive or another kind of document"))
    if any(member.flag_bits & 1 for member in members):
        raise _locked(name)
    _check_sizes(members, packed=size_of(source), name=name)


def _check_sizes(members: list[zipfile.ZipInfo], *, packed: int, name: str) -> None:
    unpacked = sum(member.file_size for member in members)
    bomb = unpacked > RATIO_MATTERS_FROM_BYTES and unpacked > MOST_RATIO * packed
    if len(members) > MOST_MEMBERS or unpacked > MOST_UNPACKED_BYTES or bomb:
        raise _unpacks_too_large(name)
