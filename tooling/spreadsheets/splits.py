"""One column that holds several things, taken apart by a pattern that a person has picked.

A pattern is written as its texts look, with a name for each part: ``P{number} {letters}{number}``
reads ``P07 T2`` as 07, T and 2. ``{number}`` are figures, ``{letters}`` letters, ``{word}``
anything without a space, ``{decimal}`` figures with a decimal mark, ``{rest}`` anything to the
end. Case and the number of spaces do not matter, and a space between a letter and a figure may be
missing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import looks_like_a_value

PARTS = {
    "number": r"(\d+)",
    "decimal": r"(\d+[.,]\d+|\d+)",
    "letters": r"([^\W\d_]+)",
    "word": r"(\S+?)",
    "rest": r"(.+?)",
}
_SAID = {
    "number": _("number"),
    "decimal": _("decimal"),
    "letters": _("letters"),
    "word": _("word"),
    "rest": _("rest"),
}
MOST_PARTS = 6
MOST_PROPOSED = 4
LONGEST = 80
_LONGEST_TEXT = 200
_LEAST_SHARE = 0.5
_TOKEN = re.compile(r"\{(\w+)\}")
_TIMES = re.compile(r"\d\s*[x×*]\s*\d")
_RUNS_TOGETHER = re.compile(
    r"\}\{(?:word|rest)|\{word\}\{|\{letters\}\{letters|\{(?:number|decimal)\}\{(?:number|decimal)"
)
_OPEN = ("word", "rest")
_BETWEEN = " ›"


@dataclass(frozen=True)
class Proposal:
    """A pattern that most of a column's texts follow: how many of how many."""

    pattern: str
    fits: int
    of: int


def part_heading(heading: str, number: int) -> str:
    """What the mapping calls part ``number`` (from 1) of a column: ``Position ›1``."""
    return f"{heading}{_BETWEEN}{number}"


def parts_of(pattern: str) -> tuple[str, ...]:
    """The kinds of the pattern's parts in order. Raises ToolingError ``bad_pattern``."""
    parts = tuple(_TOKEN.findall(pattern))
    bare = _TOKEN.sub("", pattern)
    known = all(part in PARTS for part in parts)
    if not (1 <= len(parts) <= MOST_PARTS and known) or len(pattern) > LONGEST or "{" in bare:
        raise _bad(pattern)
    if "rest" in parts[:-1] or _RUNS_TOGETHER.search(pattern):
        raise _bad(pattern)
    return parts


def _is_pattern(pattern: str) -> bool:
    try:
        return bool(parts_of(pattern))
    except ToolingError:
        return False


def _bad(pattern: str) -> ToolingError:
    return ToolingError(
        "bad_pattern",
        _("“{pattern}” is no pattern. Name up to {most} parts: {parts}."),
        pattern=pattern,
        most=MOST_PARTS,
        parts=", ".join(f"{{{part}}}" for part in PARTS),
    )


def said(pattern: str) -> str:
    """The pattern as a person reads it: ``P‹number› ‹letters›‹number›``."""
    return _TOKEN.sub(lambda found: f"‹{_SAID[found[1]]}›", pattern)


def take_apart(text: str, pattern: str) -> tuple[str, ...] | None:
    """The parts of a text, or None where it does not follow the pattern."""
    if len(text) > _LONGEST_TEXT:
        return None
    found = _compiled(pattern).fullmatch(" ".join(text.split()))
    return found.groups() if found else None


@lru_cache(maxsize=500)
def _compiled(pattern: str) -> re.Pattern[str]:
    parts_of(pattern)
    pieces = _TOKEN.split(pattern)
    spelled = ""
    for at, piece in enumerate(pieces):
        if at % 2:
            spelled += PARTS[piece]
        else:
            before = pieces[at - 1] if at else ""
            after = pieces[at + 1] if at + 1 < len(pieces) else ""
            spelled += _between(piece, before, after)
    return re.compile(spelled, re.IGNORECASE)


def _between(text: str, before: str, after: str) -> str:
    """What stands between two parts, with as many spaces as one likes, beside signs none.

    A space beside a ``{word}`` and between two parts of one kind must be there.
    """
    told_apart = {before, after} in ({"number", "letters"}, {"decimal", "letters"})
    if not text:
        return r"\s*" if told_apart else ""
    if text.isspace():
        return r"\s*" if told_apart else r"\s+"
    signs = re.findall(r"[^\W_]+|\S", text)
    spelled = r"\s*".join(re.escape(sign) for sign in signs)
    must_left = text[0].isspace() and before in _OPEN
    must_right = text[-1].isspace() and after in _OPEN
    left = r"\s+" if must_left else r"\s*"
    return left + spelled + (r"\s+" if must_right else r"\s*")


# --- proposing --------------------------------------------------------------------------------


def propose(texts: Iterable[str]) -> tuple[Proposal, ...]:
    """Patterns that most of these texts follow, the likeliest first.

    A piece of text that is the same in all of them is no part. Nothing is proposed where most
    of the texts are numbers or dates.
    """
    different = list(dict.fromkeys(" ".join(text.split()) for text in texts if text.strip()))
    values = sum(looks_like_a_value(text) and not _TIMES.search(text) for text in different)
    if len(different) < 2 or 2 * values > len(different):
        return ()
    if any("{" in text or "}" in text for text in different):
        return ()
    found: dict[str, Proposal] = {}
    for tokens_of in (_by_sign, _by_space):
        for pattern in _patterns(different, tokens_of):
            if not _is_pattern(pattern):
                continue
            fits = sum(take_apart(text, pattern) is not None for text in different)
            if fits >= 2 and fits >= _LEAST_SHARE * len(different):
                found.setdefault(pattern, Proposal(pattern, fits, len(different)))
    best = sorted(found.values(), key=lambda each: -each.fits)
    return tuple(best[:MOST_PROPOSED])


@dataclass(frozen=True)
class _Token:
    """``kind``: number, letters, word or sign; and whether a space stands before it."""

    kind: str
    text: str
    spaced: bool


def _by_sign(text: str) -> list[_Token]:
    """Figures, letters and the signs between them."""
    return _tokens(r"(\s*)(\d+(?:[.,]\d+)?|[^\W\d_]+|\S)", text, _kind)


def _by_space(text: str) -> list[_Token]:
    """Words and the spaces between them."""
    return _tokens(r"(\s*)(\S+)", text, lambda _piece: "word")


def _tokens(pattern: str, text: str, kind_of: Callable[[str], str]) -> list[_Token]:
    found = re.findall(pattern, text)
    return [_Token(kind_of(piece), piece, bool(space)) for space, piece in found]


def _kind(piece: str) -> str:
    if piece[0].isdecimal():
        return "number"
    return "letters" if piece[0].isalpha() else "sign"


def _patterns(texts: Sequence[str], tokens_of: Callable[[str], list[_Token]]) -> list[str]:
    """One pattern for each of the two commonest shapes of the texts."""
    shapes: dict[tuple[tuple[str, str], ...], list[list[_Token]]] = {}
    for text in texts:
        tokens = tokens_of(text)
        shape = tuple((each.kind, each.text if each.kind == "sign" else "") for each in tokens)
        shapes.setdefault(shape, []).append(tokens)
    commonest = sorted(shapes.values(), key=lambda alike: -len(alike))[:2]
    made = (_pattern(alike) for alike in commonest if len(alike) >= 2)
    return [pattern for pattern in made if pattern]


def _pattern(alike: Sequence[Sequence[_Token]]) -> str:
    """The tokens as a pattern: what is the same in every text stands as it is."""
    spelled, parts = "", 0
    for column in zip(*alike, strict=True):
        kind = column[0].kind
        different = {each.text.casefold() for each in column}
        if 2 * sum(each.spaced for each in column) > len(column):
            spelled += " "
        if kind == "sign" or (len(different) == 1 and kind != "number"):
            spelled += column[0].text
        else:
            has_mark = kind == "number" and any(set(text) & set(".,") for text in different)
            spelled += "{decimal}" if has_mark else f"{{{kind}}}"
            parts += 1
    least = 1 if any(each.isalpha() for each in _TOKEN.sub("", spelled)) else 2
    return spelled if least <= parts <= MOST_PARTS and len(spelled) <= LONGEST else ""
