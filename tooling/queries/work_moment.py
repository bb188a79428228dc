"""From when a piece of work counts: its day is written down, not its minute."""

from __future__ import annotations

from datetime import date, datetime, time, tzinfo

from django.db import connection

from tooling.queries.shop_zone import shop_zone

DAYS_END = time(23, 59)


def counts_from(done_on: date, received_at: datetime, zone: tzinfo) -> datetime:
    """The end of the day by the shop's clock, or when it was written down if that was before: a
    reading taken afterwards on the same day is newer."""
    return min(datetime.combine(done_on, DAYS_END, tzinfo=zone), received_at)


def counts_from_sql(done_on: str, received_at: str, zone: tzinfo | None = None) -> str:
    """`counts_from` of two columns as an expression of the database; one query for the zone, unless
    it is given."""
    zone = zone or shop_zone()
    if connection.vendor != "sqlite":
        return f"LEAST(({done_on} + TIME '23:59') AT TIME ZONE '{zone}', {received_at})"

    def day_end(day: str) -> str:
        end = datetime.combine(date.fromisoformat(day), DAYS_END, tzinfo=zone)
        return str(connection.ops.adapt_datetimefield_value(end))

    connection.ensure_connection()
    connection.connection.create_function("rollroom_day_end", 1, day_end, deterministic=True)
    return f"MIN(rollroom_day_end({done_on}), {received_at})"
