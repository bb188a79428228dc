"""Three toolrooms' own sheets, as ugly as they come; drawn up here so that each trap is in sight.

None knows the program's headings. A tube mill keeps a wall chart with merged cells and positions
written as one; a stock room keeps one text file from an old program with three lists below each
other; an inch shop keeps two lists side by side, with formulas and marks that come twice.
"""

from __future__ import annotations

import io
import re
import zipfile
from typing import Any

from openpyxl import Workbook

from tests.spreadsheets.workbooks import first_sheet


def saved(book: Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def computed(data: bytes, formulas: dict[str, str], *, sheet: str = "sheet1") -> bytes:
    """The workbook with formulas put before the values that they have: cell → formula.

    A spreadsheet program keeps both; openpyxl alone writes no result beside a formula.
    """
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            content = old.read(name)
            if name == f"xl/worksheets/{sheet}.xml":
                for cell, formula in formulas.items():
                    pattern = rb'(<c r="%s"[^>]*>)(<v>)' % cell.encode()
                    content, count = re.subn(pattern, rb"\1<f>%s</f>\2" % formula.encode(), content)
                    assert count == 1, cell
            new.writestr(name, content)
    return stream.getvalue()


def wall_chart(*, titles: int = 2, more: tuple[list[Any], ...] = ()) -> bytes:
    """Copperbrook Tube, in mm: rolls of a 60 mm tube in a chart under ``titles`` title rows.

    The set stands once, in cells merged down; the position is one text: ``P01 T1``. Headings are
    two rows high. A line tells who drew it up.
    """
    book = Workbook()
    sheet = first_sheet(book)
    sheet.title = "Wall chart"
    for turn in range(titles):
        sheet.append(["Copperbrook Tube, mill 4" if turn == 0 else "Rolls as mounted"])
        sheet.merge_cells(start_row=turn + 1, end_row=turn + 1, start_column=1, end_column=7)
    sheet.append([])
    top = titles + 2
    sheet.append(["Tool set", "Where", "Print no", "Strip (mm)", None, "Marks face", "Remarks"])
    sheet.append([None, None, None, "t min", "t max", None, None])
    sheet.merge_cells(start_row=top, end_row=top, start_column=4, end_column=5)
    for column in (1, 2, 3, 6, 7):
        sheet.merge_cells(start_row=top, end_row=top + 1, start_column=column, end_column=column)
    rows = [
        ["60 round", "P01 T1", "CB-60-01T", "1,5", "3,0", "out", None],
        [None, "P01 B1", "CB-60-01B", None, None, "out", None],
        [None, "P02 T1", "CB-60-02T", None, None, "in", "check fit"],
        [None, "P02 B1", "CB-60-02B", None, None, "out", None],
        ["80 round", "p03 t1", "CB-80-03T", 2, 4, "out", None],
        [None, "P03\u00a0B1", "CB-80-03B", None, None, "out", None],
        *more,
    ]
    for row in rows:
        sheet.append(row)
    start = top + 2
    sheet.merge_cells(start_row=start, end_row=start + 3, start_column=1, end_column=1)
    sheet.merge_cells(start_row=start + 4, end_row=start + 5, start_column=1, end_column=1)
    sheet.append([])
    sheet.append(["Drawn up by the night shift, not for the auditor"])
    return saved(book)


WALL_PRINTS = """
    Print no,Type,Bore mm
    CB-60-01T,forming roll,70
    CB-60-01B,forming roll,70
    CB-60-02T,forming roll,70
    CB-60-02B,forming roll,70
    CB-80-03T,forming roll,70
    CB-80-03B,forming roll,70
"""


def stock_room() -> bytes:
    """Eibenhof Profile, in mm: one Windows text file, semicolons, three lists below each other.

    Decimal commas, thousands with points, hard spaces, a total under each list.
    """
    lines = [
        "Eibenhof Profile · Ringlager Süd",
        "Stand;03.11.2026",
        "",
        "Ablage;Liegt in",
        "Regal Süd;",
        "Fach 1;Regal Süd",
        "Fach 2;Regal\u00a0Süd",
        "",
        "Zeichnung;Bohrung mm;Breite mm;Außen mm;Gewicht kg",
        "DR-70-2,5;70;2,5;95;0,064",
        "DR-70-12,7;70;12,7;95;0,323",
        "DR-70-40;70;40,0;95;1,018",
        "Summe;;;;1,405",
        "",
        "Zeichnung;Ablage;Stück;Mindestbestand",
        "DR-70-2,5;Regal Süd / Fach 1;1.250;200",
        "dr-70-12,7; Regal  Süd / Fach 1 ;96;",
        "DR-70-40;Regal Süd / Fach 2;1.004;100",
        "Summe;;2.350;",
        "",
        "Gezählt von der Frühschicht im Lager Süd",
    ]
    return "\r\n".join(lines).encode("cp1252")


def inch_crib() -> bytes:
    """Gannet Purlin, in inches: rolls at the left, customers at the right of one sheet.

    Bores are formulas with a kept result, a fraction, an error; dates are written month first,
    some plainly; one mark is on two rolls; a column and a row are hidden.
    """
    book = Workbook()
    sheet = first_sheet(book)
    sheet.title = "Crib"
    rows: list[list[Any]] = [
        ["Gannet Purlin tool crib"],
        ["Stamp", "Print #", "Belongs to", "Bore (in)", "Last measured", None, "Abbr", "Company",
         "Ours?"],
        ["4U", "GP-4", "gannet", 2.5, "03/04/2025", None, "GANNET", "Gannet Purlin", "Yes"],
        ["4U", "GP-4", "GANNET", "2 1/2", "12/01/2024", None, "HOLT", "Holt Barns", "no"],
        ["4L", "GP-5", "HOLT", 2.5005, "Mar 9, 2025", None, None, None, None],
        [" 5U ", "gp-4", "Gannet", 2.499, "2025-02-11", None, None, None, None],
    ]  # fmt: skip
    for row in rows:
        sheet.append(row)
    sheet.column_dimensions["C"].hidden = True
    sheet.row_dimensions[5].hidden = True
    return computed(saved(book), {"D3": "5/2", "D5": "2.5+0.0005"})


INCH_PRINTS = """
    Print #,Tool type,Arbor hole (in)
    GP-4,forming roll,2 1/2
    GP-5,forming roll,2.5
"""
