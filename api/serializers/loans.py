"""What is out, handing out and where things belong, on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn
from tooling.models import PlaceKind

KINDS = ("piece", "bin", "cart")
WHICH = ("all", "overdue", "soon", "open")


class WantedOut(serializers.Serializer[Any]):
    """The open kit that claims what is out."""

    kit = serializers.CharField()
    job = serializers.CharField()
    gathers_at = serializers.DateTimeField()


class LoanOut(serializers.Serializer[Any]):
    """One thing that is out. Pieces on a cart share the cart's id."""

    id = serializers.UUIDField(help_text="Of the movement that took it away.")
    kind = serializers.ChoiceField(KINDS)
    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    owner = serializers.CharField()
    quantity = serializers.IntegerField()
    place = serializers.CharField(source="place_code")
    place_name = serializers.CharField(source="place")
    place_kind = serializers.ChoiceField(PlaceKind.choices)
    on_cart = serializers.CharField(help_text="The cart that it rides on; empty: none.")
    since = serializers.DateTimeField()
    due_on = serializers.DateField(allow_null=True)
    reason = serializers.CharField()
    by = serializers.CharField(help_text="Who handed it out.")
    is_overdue = serializers.BooleanField()
    days_over = serializers.IntegerField()
    is_too_long = serializers.BooleanField(help_text="No day, and longer than the shop's setting.")
    wanted = WantedOut(allow_null=True)
    is_late_for_kit = serializers.BooleanField()


class ThingIn(serializers.Serializer[Any]):
    """What is handed out: a label code, mark or old number; of a bin how many, else all."""

    code = serializers.CharField(max_length=60)
    quantity = serializers.IntegerField(
        required=False, allow_null=True, default=None, min_value=1, max_value=1_000_000
    )


class HandOutIn(ActionIn):
    """All of the things go, or none. Without ``due_on`` the usual day, with null none."""

    id = serializers.UUIDField(
        required=False, help_text="Yours; sent again with the same it counts once."
    )
    to = serializers.CharField(
        max_length=200, help_text="Label code or name of a person, grinder, customer, sister plant."
    )
    things = serializers.ListField(child=ThingIn(), max_length=1_000)
    due_on = serializers.DateField(required=False, allow_null=True)
    reason = serializers.CharField(default="", allow_blank=True, max_length=200)


class HandOutOut(serializers.Serializer[Any]):
    """One hand-out, as far as it is still out. ``due_on`` where all are due the same day."""

    id = serializers.UUIDField(source="act")
    place = serializers.CharField(source="place_code")
    place_name = serializers.CharField(source="place")
    due_on = serializers.DateField(allow_null=True)
    reason = serializers.CharField()
    count = serializers.IntegerField()
    loans = LoanOut(many=True)


class DueIn(ActionIn):
    """When it is due back, and why that changed; null: no day any more."""

    due_on = serializers.DateField(allow_null=True)
    reason = serializers.CharField(default="", allow_blank=True, max_length=200)


class LoanIdsIn(ActionIn):
    ids = serializers.ListField(child=serializers.UUIDField(), max_length=1_000)


class ManyDueIn(LoanIdsIn, DueIn):
    """Another day for several loans at once."""


class BelongsOut(serializers.Serializer[Any]):
    """Where one thing is and where it belongs; ``home`` is null where nothing says so."""

    code = serializers.CharField()
    kind = serializers.ChoiceField((*KINDS, "set"))
    place = serializers.CharField(source="now_code")
    place_name = serializers.CharField(source="now")
    home = serializers.SerializerMethodField()
    home_name = serializers.CharField(source="home")
    why = serializers.CharField(help_text="own, copy, rested, like, or empty.")
    why_said = serializers.CharField()
    is_home = serializers.BooleanField()

    def get_home(self, row: Any) -> str | None:
        return row.home_code or None


class HomeIn(ActionIn):
    home = serializers.CharField(
        allow_null=True, max_length=40, help_text="Label code of the place; null: nobody says."
    )


class SaidOut(serializers.Serializer[Any]):
    """What was said about homes; ``act`` takes it back, null when nothing changed."""

    things = serializers.IntegerField()
    changed = serializers.IntegerField()
    act = serializers.IntegerField(allow_null=True)


class ActIn(ActionIn):
    act = serializers.IntegerField(min_value=1)


class CountOut(serializers.Serializer[Any]):
    count = serializers.IntegerField()


class PutLineOut(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(KINDS)
    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    quantity = serializers.IntegerField()
    home = serializers.CharField(source="home_code")
    spot = serializers.CharField(
        help_text="The peg or bin within the stop; empty: the stop itself."
    )
    note = serializers.CharField()


class PutStopOut(serializers.Serializer[Any]):
    place = serializers.CharField(source="place_code")
    place_name = serializers.CharField(source="place")
    lines = PutLineOut(many=True)


class PutAwayOut(serializers.Serializer[Any]):
    """What is to be put away from a place: stops in walking order, then what has no home."""

    place = serializers.CharField(source="place_code")
    place_name = serializers.CharField(source="place")
    count = serializers.IntegerField()
    stops = PutStopOut(many=True)
    homeless = PutLineOut(many=True)
    at_home = serializers.IntegerField(help_text="So many belong where they are.")
    more = serializers.IntegerField(help_text="So many pieces are not among these yet.")
    act = serializers.UUIDField(
        allow_null=True, default=None, help_text="What was just done; undo it as a scan's id."
    )


class PutStopIn(ActionIn):
    """All that belongs at a stop is there now."""

    stop = serializers.CharField(max_length=40, help_text="The stop's label code.")
    id = serializers.UUIDField(
        required=False, help_text="Yours; sent again with the same it counts once."
    )
