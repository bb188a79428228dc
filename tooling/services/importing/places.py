"""Places are written from the outside in, and their paths follow from what they are in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Place
from tooling.services.places import PATH_LONGEST, PATH_NAME_LONGEST

BATCH = 400


def path_from_outside_in(places: Iterable[Place]) -> None:
    """The paths of planned places, whose codes are known by now, from what they are in."""
    done: set[int] = set()
    planned = {place.pk: place for place in places}
    for place in planned.values():
        line: list[Place] = []
        here: Place | None = place
        while here is not None and here.pk in planned and here.pk not in done:
            line.append(here)
            here = here.parent
        for each in reversed(line):
            each.path = f"{each.parent.path if each.parent else '/'}{each.code}/"
            done.add(each.pk)


def renew_paths() -> None:
    """The paths of places after some were renamed or put elsewhere, and of all inside them.

    Raises ToolingError ``too_deep``.
    """
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
