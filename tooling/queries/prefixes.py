"""Prefix lookups that use the index on both databases."""

from __future__ import annotations

from django.db import connection
from django.db.models import Q

LAST = "\U0010fffd"


def starts_with(field: str, prefix: str) -> Q:
    """Rows whose field begins with the prefix.

    SQLite's LIKE ignores case and so uses no plain index: there it is a range. PostgreSQL's
    order follows the language, so there it is LIKE on the pattern index that Django makes.
    """
    if connection.vendor == "sqlite":
        return Q(**{f"{field}__gte": prefix, f"{field}__lt": prefix + LAST})
    return Q(**{f"{field}__startswith": prefix})
