"""What becomes of the spacers on a shaft when its rolls change under them."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from tooling.engineering.stacks.specs import Pieces, ShaftKey
from tooling.engineering.stacks.windows import difference_holds, length_of, placed, shaft_holds
from tooling.errors import Conflict
from tooling.models import Kit, KitFill, KitPosition, Person
from tooling.queries.fill_problem import standing_problem
from tooling.queries.fill_views import FillProblem
from tooling.queries.kits import WITH_JOB
from tooling.services.fills import change_fills, pinned_fills


def after_rolls_changed(
    *, by: Person, at: datetime, kit: Kit, rows: Collection[KitPosition]
) -> tuple[ShaftKey, ...]:
    """Take the fills out of every shaft, among those of these positions, that is no longer within
    its windows with the rolls it has now; what a person pinned and what is mounted stays.

    Call inside the write that changed the rolls. Gives the shafts, and keeps them for the page.
    """
    keys = {(r.station_number, r.shaft) for r in rows if r.shaft in ("top", "bottom")}
    stations = {station for station, _shaft in keys}
    filled = KitPosition.objects.filter(kit=kit, station_number__in=stations).exclude(fill="")
    if not keys or not filled.exists():
        return ()
    try:
        given = standing_problem(Kit.objects.select_related(*WITH_JOB).get(pk=kit.pk))
    except Conflict:
        return ()  # nothing can be reckoned: the page says what is missing
    pinned = pinned_fills(given)
    fills: dict[str, Pieces] = {}
    struck = []
    for key in sorted(keys & set(given.problem.shafts) - given.mounted):
        mine = [f.key for f in given.problem.shafts[key].fills if f.key not in pinned]
        if any(given.standing.get(each) for each in mine) and not _holds(given, key):
            fills |= dict.fromkeys(mine, ())
            struck.append(key)
    if struck:
        change_fills(
            by=by, at=at, given=given, fills=fills, pinned=pinned,
            what="fills taken out: other rolls",
        )  # fmt: skip
        _keep(by, at, kit, struck)
    return tuple(struck)


def _holds(given: FillProblem, key: ShaftKey) -> bool:
    rules = given.problem.rules
    station = next(each for each in given.problem.stations if each.number == key[0])
    errors = {}
    for shaft in station.shafts:
        lengths = [length_of(given.problem, given.keys_of(fill.key)) for fill in shaft.fills]
        holds = shaft_holds(rules, shaft, lengths)
        if shaft.which == key[1] and not holds:
            return False
        if holds:
            errors[shaft.which] = placed(rules, shaft, lengths).guide_error_nm
    return len(errors) < 2 or difference_holds(rules, errors["top"], errors["bottom"])


def _keep(by: Person, at: datetime, kit: Kit, struck: Collection[ShaftKey]) -> None:
    answer, _new = KitFill.objects.get_or_create(kit=kit, defaults={"solved_at": at, "by": by})
    told = {tuple(each) for each in answer.said.get("struck", ())} | set(struck)
    answer.said = {**answer.said, "struck": [list(each) for each in sorted(told)]}
    answer.save(update_fields=["said"])
