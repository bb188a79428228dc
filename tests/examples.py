"""How many examples a property is tried on: all of them on SQLite, a quarter on PostgreSQL, where
each costs four times as much and the rules it looks at are the same."""

from __future__ import annotations

import os

ON_POSTGRESQL = os.environ.get("ROLLROOM_TEST_DATABASE") == "postgresql"


def examples(on_sqlite: int) -> int:
    return max(3, on_sqlite // 4) if ON_POSTGRESQL else on_sqlite
