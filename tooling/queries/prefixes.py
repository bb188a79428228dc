"""Lookups by marks and numbers in capitals that use the index on both databases."""

from __future__ import annotations

from django.db import connection
from django.db.models import Q

LAST = "\U0010fffd"


def capitals(text: str) -> set[str]:
    """The text as a database's UPPER may have it; one form where all letters are A to Z.

    SQLite's knows no other letters, and PostgreSQL's turns one letter into one.
    """
    one_by_one = "".join(each.upper() if len(each.upper()) == 1 else each for each in text)
    plain = [
        "".join(each.upper() if each.isascii() else each for each in form)
        for form in (text, text.lower())
    ]
    return {text.upper(), one_by_one, *plain}


def begins_in_capitals(field: str, text: str) -> Q:
    """Rows whose field, kept in capitals, begins with the text in any case."""
    found = Q()
    for form in sorted(capitals(text)):
        found |= starts_with(field, form)
    return found


def starts_with(field: str, prefix: str) -> Q:
    """Rows whose field begins with the prefix.

    SQLite's LIKE ignores case and so uses no plain index: there it is a range. PostgreSQL's
    order follows the language, so there it is LIKE on the pattern index that Django makes.
    """
    if connection.vendor == "sqlite":
        return Q(**{f"{field}__gte": prefix, f"{field}__lt": prefix + LAST})
    return Q(**{f"{field}__startswith": prefix})
