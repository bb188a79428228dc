"""Amounts of money as whole hundredths of a currency: read as people write them, said with it."""

from __future__ import annotations

import re

from django.utils.translation import gettext_lazy as _

from tooling.engineering.written_numbers import read_written
from tooling.errors import ToolingError

_TWO_WAYS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
MOST_CENTS = 10**14
"""A million million: no shop's tooling is worth more."""


def parse_money(text: str) -> int:
    """The hundredths in a text such as ``1250``, ``1,250.00`` or ``1 250,50``.

    Raises ToolingError ``not_money`` for what is no amount, is below nothing, has parts of a
    hundredth, or is beyond reason; ``ambiguous_money`` for ``1.250`` and ``1,250``, which are a
    thousand and more in one country and one and a quarter in the other.
    """
    if _TWO_WAYS.fullmatch(text.strip()):
        raise ToolingError(
            "ambiguous_money",
            _("“{text}” can be read as {large} or as {small}. Write the one you mean."),
            text=text.strip(),
            large=re.sub("[.,]", "", text.strip()),
            small=f"{text.strip()[:-4]}.{text.strip()[-3:-1]}",
        )
    written = read_written(text)
    if written is not None and not written.unit and not written.is_fraction:
        cents = written.readings[0] * 100
        if cents.denominator == 1 and 0 <= cents <= MOST_CENTS:
            return int(cents)
    raise ToolingError(
        "not_money",
        _("“{text}” is no amount of money. Write it like 1250 or 1250.50."),
        text=text.strip()[:40],
    )


def plain_money(cents: int) -> str:
    """``125050`` as ``1250.50``, for fields and sheets."""
    return f"{cents // 100}.{cents % 100:02d}"


def say_money(cents: int, currency: str) -> str:
    """``125050`` as ``1 250.50 USD``, thousands apart by narrow spaces."""
    amount = f"{cents // 100:,}.{cents % 100:02d}".replace(",", "\u202f")
    return f"{amount} {currency}".rstrip()
