"""Artwork for etching a mark or label code into a piece: a stand-alone SVG in true millimetres."""

from __future__ import annotations

from xml.sax.saxutils import escape

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.paper.faces import plain
from tooling.paper.symbols import SymbolKind, etching_symbol

LEAST_MODULE_MM = 0.2
"""Finer modules than this do not stand on an etched or lasered steel face."""

MOST_SIZE_MM = 200.0


def etch_svg(
    text: str, *, symbol: SymbolKind = "datamatrix", size_mm: float, with_text: bool = True
) -> str:
    """The symbol of a mark or code as filled rectangles in one path, its clear zone included.

    ``size_mm`` is the side of the whole artwork without the line of text under it. Raises
    ToolingError ``mark_not_etchable`` for a text that no symbol holds, ``etching_too_large``, and
    ``etching_too_small`` where a module would be finer than an etched edge.
    """
    drawn = etching_symbol(text, symbol)
    across = drawn.modules + 2 * drawn.quiet
    _check_size(size_mm, across)
    module = size_mm / across
    letters = 3.2 if with_text else 0.0
    path = "".join(f"M{x} {y}h{w}v{h}h-{w}z" for x, y, w, h in drawn.runs)
    height_mm = size_mm + letters * module
    said = escape(plain(text), {'"': "&quot;"})
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size_mm:g}mm" height="{height_mm:.4g}mm" '
        f'viewBox="{-drawn.quiet} {-drawn.quiet} {across} {across + letters:g}">'
        f'<title>{said}</title><path d="{path}" shape-rendering="crispEdges"/>'
        f"{_line_of_text(said, drawn.modules) if with_text else ''}</svg>\n"
    )


def _line_of_text(said: str, modules: int) -> str:
    """The text in type under the symbol, squeezed to its width where it would be wider."""
    squeeze = f' textLength="{modules}" lengthAdjust="spacingAndGlyphs"'
    wide = squeeze if len(said) * 1.9 > modules else ""
    return (
        f'<text x="{modules / 2:g}" y="{modules + 4:g}" font-size="3" text-anchor="middle" '
        f'font-family="monospace"{wide}>{said}</text>'
    )


def _check_size(size_mm: float, across: int) -> None:
    if size_mm > MOST_SIZE_MM:
        raise ToolingError(
            "etching_too_large",
            _("{size} mm is larger than any face that is etched. Use at most {most} mm."),
            size=f"{size_mm:g}", most=f"{MOST_SIZE_MM:g}",
        )  # fmt: skip
    if size_mm < across * LEAST_MODULE_MM:
        raise ToolingError(
            "etching_too_small",
            _(
                "At {size} mm a module would be {module} mm, finer than an etched edge. "
                "Use {least} mm or more."
            ),
            size=f"{size_mm:g}", module=f"{max(size_mm, 0) / across:.2f}",
            least=f"{across * LEAST_MODULE_MM:.1f}",
        )  # fmt: skip
