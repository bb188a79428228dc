"""Sheets of any length, as a shop would bring them: new drawings and pieces, and their history."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

Sheets = dict[str, bytes]
SHARES = {"drawings": 4, "pieces": 50, "readings": 20, "length_run": 16, "regrinds": 10}
"""Per cent of the rows."""


def sheets(rows: int, turn: int, shelves: Sequence[str]) -> Sheets:
    """So many rows in all; ``turn`` keeps what one call makes apart from another's."""
    count = {kind: rows * share // 100 for kind, share in SHARES.items()}
    drawings, pieces = count["drawings"], count["pieces"]
    return {
        "drawings": _file(
            "Drawing,Rev,Kind,Bore mm,Face width mm,Root diameter mm,OD mm",
            (f"T{turn}-{n:05d},A,roll,60,40,150,{180 + n % 20}" for n in range(drawings)),
        ),
        "pieces": _file(
            "Old number,Mark,Copy,Drawing,Owner,Place,Condition,Units,Made OD mm,Now OD mm,"
            "Length run m",
            (
                f"{_piece(turn, n)},T{turn}M{n // 2:05d},{'AB'[n % 2]},T{turn}-{n % drawings:05d},"
                f"SHOP,{shelves[n * 7 % len(shelves)]},sound,mm,180,{179.8 - n % 9 * 0.05:.2f},"
                f"{n % 1000 * 100}"
                for n in range(pieces)
            ),
        ),
        "readings": _file(
            "Piece,Dimension,Value mm,Date,Time,Gauge",
            (
                f"{_piece(turn, n)},outside diameter,{179.9 - n % 7 * 0.03:.2f},"
                f"2025-{n % 12 + 1:02d}-{n % 28 + 1:02d},{n % 10 + 7:02d}:30,MIC-{n % 5}"
                for n in range(count["readings"])
            ),
        ),
        "length_run": _file(
            "Piece,Length m,Strip class,Date",
            (
                f"{_piece(turn, n)},{n % 50},galvanised,2024-{n % 12 + 1:02d}-01"
                for n in range(count["length_run"])
            ),
        ),
        "regrinds": _file(
            "Piece,Date,Kind,Who,Before OD mm,After OD mm",
            (
                f"{_piece(turn, n)},2024-{n % 12 + 1:02d}-15,regrind,Alder Grinding,180,179.95"
                for n in range(count["regrinds"])
            ),
        ),
    }


def wrong_sheets(rows: int) -> Sheets:
    """Every row is wrong, half of them because they stand there twice."""
    return {
        "pieces": _file(
            "Old number,Mark,Drawing,Owner,Place",
            (f"W-{n // 2:06d},W{n:06d},no such drawing {n},SHOP,nowhere" for n in range(rows)),
        )
    }


def _piece(turn: int, n: int) -> str:
    return f"T{turn}-R-{n:06d}"


def _file(headings: str, lines: Iterator[str]) -> bytes:
    return "\n".join([headings, *lines]).encode()
