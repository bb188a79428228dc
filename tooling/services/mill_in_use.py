"""A mill that is changed on paper while a kit stands on it: what the mounted stacks rest on stays
as it is until they are off; of everything else the crew's screens are told."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import Mill, MillShaft, Setup, SetupState, Station
from tooling.queries.shaft_states import shaft_states
from tooling.services.write import bump

SHAFT_FACTS = ("diameter_nm", "key_style", "key_width_nm", "key_height_nm", "roll_space_nm")
MILL_FACTS = ("hand", "datum", "closing", "closing_least_nm", "closing_most_nm", "guide_plane_nm",
              "is_active", "place", "unit")  # fmt: skip


def check_mill(mill: Mill, fields: dict[str, Any]) -> None:
    """Call inside the write of an edit of the mill. Raises ``mill_in_use`` where a shaft is
    mounted and the edit changes what its stack rests on."""
    setups = _setups(mill.pk)
    changed = [
        name for name in MILL_FACTS if name in fields and fields[name] != getattr(mill, name)
    ]
    if changed and any(state.what == "mounted" for state in shaft_states(setups).values()):
        raise _in_use(mill, setups, changed[0])
    bump(setups.values())


def check_shaft(shaft: MillShaft, fields: dict[str, Any]) -> None:
    """The same for one shaft; its station must be loaded."""
    station = shaft.station
    setups = _setups(station.mill_id)
    changed = [n for n in SHAFT_FACTS if n in fields and fields[n] != getattr(shaft, n)]
    if changed:
        states = shaft_states(setups)
        for pk in setups:
            state = states.get((pk, station.number, shaft.which))
            if state is not None and state.what == "mounted":
                raise _in_use(station.mill, setups, changed[0], station.number)
    bump(setups.values())


def check_station(station: Station) -> None:
    """Centres, ratio and the like may be put right under a kit; its crew is told."""
    bump(_setups(station.mill_id).values())


def _setups(mill_id: int) -> dict[int, int]:
    """Setup that is up → its kit."""
    rows = Setup.objects.exclude(state=SetupState.STRUCK).filter(mill=mill_id)
    return dict(rows.values_list("pk", "kit_id"))


def _in_use(mill: Mill, setups: dict[int, int], field: str, station: int | None = None) -> Conflict:
    kit = Setup.objects.filter(pk__in=setups).values_list("kit__number", flat=True).first()
    words = (
        _("Kit {kit} is mounted on {mill}; its stacks rest on these numbers. Strike it down, then "
          "change them.")
        if station is None
        else _("Kit {kit} is mounted on this shaft of station {station} of {mill}; its stack rests "
               "on these numbers. Take it off, then change them.")
    )  # fmt: skip
    return Conflict("mill_in_use", words, kit=kit, mill=mill.name, station=station, in_field=field)
