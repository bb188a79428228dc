"""What is no spreadsheet, or would burst, is refused by its content whatever its name says."""

from __future__ import annotations

import io
import zipfile

import pytest

from tests.spreadsheets.workbooks import workbook
from tooling.errors import ToolingError
from tooling.spreadsheets import guards
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.guards import check_file


def archive(**members: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in members.items():
            made.writestr(name, content)
    return stream.getvalue()


def refusal(data: bytes, name: str = "rolls.csv") -> ToolingError:
    with pytest.raises(ToolingError) as raised:
        check_file(data, name=name)
    return raised.value


NOT_SPREADSHEETS = {
    "a PDF": b"%PDF-1.7\n...",
    "a picture": b"\x89PNG\r\n\x1a\n....",
    "a web page": b"<!DOCTYPE html><table><tr><td>Mark</td></tr></table>",
    "JSON": b'{"rolls": []}',
    "other than text": bytes(range(256)) * 4,
    "an archive": archive(**{"rolls.txt": b"Mark\n"}),
    "OpenDocument": archive(mimetype=b"application/vnd.oasis", **{"content.xml": b"<a/>"}),
    "binary workbook": archive(**{"[Content_Types].xml": b"", "xl/workbook.bin": b""}),
}


@pytest.mark.parametrize("what", NOT_SPREADSHEETS)
def test_other_files_are_refused_and_the_sentence_says_what_they_are(what: str) -> None:
    error = refusal(NOT_SPREADSHEETS[what])
    assert error.code == "no_spreadsheet"
    assert what in error.message
    assert "rolls.csv" in error.message


def test_the_name_does_not_decide() -> None:
    assert check_file(b"Mark;Bore\nA;1\n", name="rolls.xlsx") == "csv"
    assert check_file(workbook(("S", [["Mark"]])), name="rolls.csv") == "xlsx"


OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"\xef\xbb\xbf \r\n", "empty_file"),
        (b"", "empty_file"),
        (OLE + bytes(512) + "Workbook".encode("utf-16-le"), "old_excel"),
        (OLE + bytes(512) + "EncryptedPackage".encode("utf-16-le"), "locked_workbook"),
        (b"PK\x03\x04 not really", "damaged_file"),
        (workbook(("S", [["Mark"]]))[:-30], "damaged_file"),
        (b"Mark\n" * (guards.MOST_BYTES // 5 + 1), "file_too_large"),
    ],
    ids=["blank", "nothing", "xls", "password", "no zip", "cut off", "too many bytes"],
)
def test_each_bad_file_has_a_code_and_a_sentence_of_its_own(data: bytes, code: str) -> None:
    error = refusal(data)
    assert error.code == code
    assert "rolls.csv" in error.message


def test_a_workbook_with_a_locked_part_is_refused() -> None:
    locked = bytearray(workbook(("S", [["Mark"]])))
    at = locked.find(b"PK\x01\x02")
    locked[at + 8] |= 1
    assert refusal(bytes(locked)).code == "locked_workbook"


def test_a_workbook_that_unpacks_to_far_more_than_it_is_is_refused() -> None:
    bomb = archive(**{"[Content_Types].xml": b"", "xl/worksheets/sheet1.xml": b"0" * 20_000_000})
    assert len(bomb) < 50_000
    assert refusal(bomb, "rolls.csv").code == "unpacks_too_large"


def test_a_workbook_with_thousands_of_members_is_refused() -> None:
    members = {f"xl/media/{n}": b"" for n in range(guards.MOST_MEMBERS)}
    refused = refusal(archive(**{"[Content_Types].xml": b"", **members}))
    assert refused.code == "unpacks_too_large"


def test_entities_that_multiply_are_refused() -> None:
    bomb = b'<!DOCTYPE a [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><worksheet>&b;</worksheet>'
    good = workbook(("S", [["Mark"]]))
    with zipfile.ZipFile(io.BytesIO(good)) as before:
        parts = {name: before.read(name) for name in before.namelist()}
    parts["xl/worksheets/sheet1.xml"] = bomb
    with pytest.raises(ToolingError) as raised:
        read_sheets(archive(**parts), name="rolls.xlsx")
    assert raised.value.code == "damaged_file"


def test_a_workbook_without_any_row_is_refused() -> None:
    with pytest.raises(ToolingError) as raised:
        read_sheets(workbook(("S", [])), name="rolls.xlsx")
    assert raised.value.code == "no_rows"
