"""The piece or stock bin that a label code names."""

from __future__ import annotations

from tooling.engineering.codes import fold
from tooling.models import Piece, StockLine
from tooling.queries.by_code import piece_of, stock_of


def piece_or_bin(code: str) -> tuple[Piece | None, StockLine | None]:
    """One of the two. Raises Unknown ``unknown_code``, ToolingError ``bad_check_character``."""
    if fold(code).startswith("B"):
        return None, stock_of(code)
    return piece_of(code), None
