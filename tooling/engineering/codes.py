"""Label codes: a kind letter, six characters, one check character (ISO/IEC 7064, MOD 37-2).

The letters I and O are never issued, neither in the number nor as the check character, because
people read and type them as 1 and 0; what is typed is folded the same way before it is checked.
The check character ``*`` is not issued either: a label holds nothing but letters and digits.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from django.utils.translation import gettext_lazy as _
from stdnum.iso7064 import mod_37_2

from tooling.errors import ToolingError

KINDS: Mapping[str, str] = MappingProxyType(
    {
        "R": "roll",
        "S": "spacer",
        "D": "side roll",
        "L": "line tooling",
        "H": "hardware",
        "B": "stock bin",
        "P": "place",
        "C": "cart or plate",
        "T": "tool set",
        "K": "kit",
        "M": "mill station",
    }
)
"""What each first letter stands for."""

ALPHABET = "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""The characters of a number: digits and capitals without I and O."""

NUMBER_LENGTH = 6
CODE_LENGTH = 1 + NUMBER_LENGTH + 1
SERIALS = len(ALPHABET) ** NUMBER_LENGTH
"""How many serials six characters hold: 1,544,804,416 of each kind."""

_FOLDED = str.maketrans({"O": "0", "I": "1"})
_SHAPE = re.compile(f"[{''.join(KINDS)}][{ALPHABET}]{{{CODE_LENGTH - 1}}}")
_DASHES_AND_SPACES = re.compile(r"[\s\u00ad\u200b\ufeff\u2010-\u2015\u2212-]+")


@dataclass(frozen=True)
class Code:
    """A code that was read and whose check character holds."""

    text: str
    kind: str
    serial: int

    @property
    def kind_name(self) -> str:
        """The kind in words: ``roll``, ``stock bin`` …"""
        return KINDS[self.kind]


@lru_cache(maxsize=8192)
def check_character(payload: str) -> str:
    """The MOD 37-2 check character of capitals and digits: a digit, a letter or ``*``.

    Source: ISO/IEC 7064 as python-stdnum computes it. Raises ValueError on other characters.
    """
    if not re.fullmatch("[0-9A-Z]+", payload):
        raise ValueError(f"{payload!r} holds more than capitals and digits")
    return str(mod_37_2.calc_check_digit(payload))


def make_code(kind: str, serial: int) -> str | None:
    """The code of the serial-th number of a kind, or None where that number is not issued.

    The number is the serial in base 34 over ``ALPHABET``, so different serials never share a
    code. Not issued: numbers whose check character is ``*``, I or O (3 in 37).
    Raises ValueError for an unknown kind letter or a serial outside 0 … ``SERIALS`` − 1.
    """
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is no kind letter")
    payload = kind + _number(serial)
    check = check_character(payload)
    return payload + check if check in ALPHABET else None


def _number(serial: int) -> str:
    if not 0 <= serial < SERIALS:
        raise ValueError(f"serial {serial} does not fit into {NUMBER_LENGTH} characters")
    characters = ""
    for _place in range(NUMBER_LENGTH):
        serial, digit = divmod(serial, len(ALPHABET))
        characters = ALPHABET[digit] + characters
    return characters


def _serial(number: str) -> int:
    serial = 0
    for character in number:
        serial = serial * len(ALPHABET) + ALPHABET.index(character)
    return serial


@lru_cache(maxsize=8192)
def fold(text: str) -> str:
    """What was typed, as a label prints it: capitals, no spaces or hyphens, O as 0, I as 1.

    Remembered: of one scan it is asked for a dozen times.
    """
    plain = unicodedata.normalize("NFKC", text)
    return _DASHES_AND_SPACES.sub("", plain).upper().translate(_FOLDED)


def looks_like_code(text: str) -> bool:
    """Whether the folded text has the shape of a code; its check character may still be wrong."""
    return _SHAPE.fullmatch(fold(text)) is not None


def read_code(text: str) -> Code:
    """The code that was typed or scanned, folded and checked.

    Raises ToolingError ``not_a_code`` when the text has not a code's shape, and
    ``bad_check_character`` when one or more of its characters must be wrong.
    """
    folded = fold(text)
    if not _SHAPE.fullmatch(folded):
        raise ToolingError(
            "not_a_code",
            _(
                "“{text}” is not a label code. A code is a kind letter and seven more characters, "
                "such as {example}; for a mark or an old number use the search."
            ),
            text=_shortened(text),
            example=make_code("R", 1),
        )
    if check_character(folded[:-1]) != folded[-1]:
        raise ToolingError(
            "bad_check_character",
            _(
                "“{text}” is misread: its last character does not fit the others. "
                "Scan it again, or compare it with the label character by character."
            ),
            text=_shortened(text),
        )
    return Code(text=folded, kind=folded[0], serial=_serial(folded[1:-1]))


def _shortened(text: str) -> str:
    return text if len(text) <= 40 else text[:39] + "…"
