"""How often things came to places and left them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.db import connection
from django.db.models import Count as Number

from tooling.models import How, Movement, What


def moves_by_place(since: datetime) -> list[tuple[int | None, int | None, int]]:
    """(from, to, how many) of what moved since then and was not put right. What was entered from
    paper, and counting itself, is no move; a cart moves by itself. One query."""
    rows = Movement.objects.filter(received_at__gte=since, cart=None, corrected_by=None).order_by()
    rows = rows.exclude(how=How.IMPORT).exclude(what=What.COUNT)
    return list(rows.values_list("from_seen_id", "to_id").annotate(n=Number("id")))


def moves_since(since: Mapping[int, tuple[int, datetime]]) -> dict[int, int]:
    """``since``: place id → the id of what it is counted with, and a moment. That id → how many
    movements reached or left any of its places after the moment, each once.

    One statement whatever the number of places; none where there are none.
    """
    if not since:
        return {}
    moment = connection.ops.adapt_datetimefield_value
    kind = "timestamptz" if connection.vendor == "postgresql" else "text"
    row = f"(CAST(%s AS bigint), CAST(%s AS bigint), CAST(%s AS {kind}))"
    values = [value for pk, (unit, at) in since.items() for value in (pk, unit, moment(at))]
    sql = (
        f"WITH since(place_id, unit_id, moment) AS (VALUES {', '.join([row] * len(since))}), "
        "moved AS (SELECT m.id, m.received_at, m.to_id, m.from_seen_id FROM tooling_movement m "
        f"WHERE m.received_at > CAST(%s AS {kind}) AND m.cart_id IS NULL AND m.what <> 'count' "
        "AND m.how <> 'import' "
        "AND NOT EXISTS (SELECT 1 FROM tooling_movement c WHERE c.corrects_id = m.id)) "
        "SELECT unit_id, COUNT(*) FROM ("
        "SELECT s.unit_id, m.id FROM moved m JOIN since s "
        "ON m.to_id = s.place_id AND m.received_at > s.moment "
        "UNION "
        "SELECT s.unit_id, m.id FROM moved m JOIN since s "
        "ON m.from_seen_id = s.place_id AND m.received_at > s.moment"
        ") AS news GROUP BY unit_id"
    )
    values.append(moment(min(at for _unit, at in since.values())))
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return dict(cursor.fetchall())
