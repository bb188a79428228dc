"""Places are written from the outside in, and their paths follow from what they are in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Place
from tooling.services.places import PATH_LONGEST, PATH_NAME_LONGEST

BATCH = 400


def create_from_outside_in(places: list[Place]) -> None:
    """A place needs its parent saved: one bulk insert for each depth of nesting."""
    waiting = places
    while waiting:
        ready = [place for place in waiting if place.parent is None or place.parent.pk]
        for place in ready:
            place.path = f"{place.parent.path if place.parent else '/'}{place.code}/"
        Place.objects.bulk_create(ready, batch_size=BATCH)
        waiting = [place for place in waiting if place.pk is None]


def renew_paths(edited: Iterable[Place]) -> None:
    """The paths of the edited places and of all inside them; nothing where none was renamed.

    Raises ToolingError ``too_deep``.
    """
    keys = {place.pk for place in edited}
    if not keys:
        return
    children: dict[int | None, list[Place]] = {}
    for place in Place.objects.all():
        children.setdefault(place.parent_id, []).append(place)
    changed = [place for place in _from_outside(children) if _renew(place)]
    Place.objects.bulk_update(changed, ["path", "path_name"], batch_size=BATCH)


def _from_outside(children: dict[int | None, list[Place]]) -> Iterator[Place]:
    ready = list(children.get(None, []))
    for place in ready:
        for inner in children.get(place.pk, []):
            inner.parent = place
            ready.append(inner)
        yield place


def _renew(place: Place) -> bool:
    before = (place.path, place.path_name)
    above = place.parent
    place.path = f"{above.path if above else '/'}{place.code}/"
    place.path_name = f"{above.path_name} / {place.name}" if above else place.name
    if len(place.path) > PATH_LONGEST or len(place.path_name) > PATH_NAME_LONGEST:
        raise ToolingError(
            "too_deep",
            _("“{name}” would lie too many places deep. Put it inside a place further out."),
            name=place.name,
        )
    return (place.path, place.path_name) != before
