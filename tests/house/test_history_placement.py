"""Every model says whether it is history or current; history says so in the database too."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import connection

from tooling import history


def test_every_model_is_history_or_current_and_not_both() -> None:
    ours = set(apps.get_app_config("tooling").get_models())
    assert ours == set(history.HISTORY) | set(history.CURRENT)
    assert not set(history.HISTORY) & set(history.CURRENT)


@pytest.mark.django_db
@pytest.mark.parametrize("model", history.HISTORY, ids=lambda model: model.__name__)
def test_every_history_table_has_its_triggers(model: type) -> None:
    table = model._meta.db_table  # type: ignore[attr-defined]
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(
                "SELECT count(*) FROM sqlite_master WHERE type='trigger' AND tbl_name=%s", [table]
            )
        else:
            cursor.execute(
                "SELECT count(*) FROM pg_trigger WHERE tgrelid=%s::regclass AND NOT tgisinternal",
                [table],
            )
        assert cursor.fetchone()[0] == 2
