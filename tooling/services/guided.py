"""Guided put-away: a thing is taken only where it belongs, and told where that is otherwise."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.queries.homes import Home
from tooling.queries.scan_lookup import Target


def home_target(*, target: Target, home: Home | None, what: str, piece_id: int | None) -> Target:
    """Where the thing goes when this place was scanned: into its own home where that lies in the
    place; anywhere when nothing says where it belongs.

    Raises Conflict ``wrong_home`` naming where it belongs.
    """
    here = target.place
    if home is None or here.path.startswith(home.place.path):
        return target
    if home.place.path.startswith(here.path):
        return Target(home.place, target.kit)
    raise Conflict(
        "wrong_home",
        _("{what} belongs in {home}, not in {place}. Take it there; or put it here all the same "
          "on the Scan page."),
        what=what,
        home=home.place.path_name or home.place.name,
        home_code=home.place.code,
        place=here.path_name or here.name,
        piece_id=piece_id,
    )  # fmt: skip
