"""A mill's checks written down for many stations at once, and its rules for the order of jobs."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Change, Kit, KitState, Mill, MillRule, MillShaft, Person, Station
from tooling.permissions import Verb, check_can
from tooling.services.edits import (
    already_there,
    apply_edit,
    optional_text,
    record_creation,
    record_removal,
    require_text,
)
from tooling.services.write import bump, writing

CHECKS = {
    "aligned": _("aligned"),
    "end_play": _("end play measured"),
    "shoulder": _("shoulder offsets measured"),
}


def note_check(
    *,
    by: Person,
    at: datetime,
    mill: Mill,
    what: str,
    on: date,
    stations: Collection[int] | None = None,
) -> int:
    """The stations were aligned, or their shafts' end play or shoulders measured, on that day;
    ``stations`` None: all. How many stations or shafts got another day.

    Raises NotAllowed, ``unknown_check``, ``not_yet``, ``unknown_station``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    if what not in CHECKS:
        raise ToolingError(
            "unknown_check",
            _("“{what}” is no check of a mill. Choose one of: {checks}."),
            what=what[:40],
            checks=", ".join(str(word) for word in CHECKS.values()),
            in_field="what",
        )
    if on > timezone.localdate(at):
        raise ToolingError(
            "not_yet", _("{day} is still to come. Write when it was done."), day=on, in_field="on"
        )
    with writing():
        chosen = _chosen(mill, stations)
        if what == "aligned":
            return sum(
                apply_edit(by=by, at=at, row=row, key=row.code, fields={"aligned_on": on})
                for row in chosen
            )
        field = "end_play_measured_on" if what == "end_play" else "shoulder_measured_on"
        shafts = MillShaft.objects.select_for_update().filter(station__in=chosen)
        return sum(
            apply_edit(
                by=by, at=at, row=shaft, key=f"{shaft.station.code} {shaft.which}",
                fields={field: on},
            )
            for shaft in shafts.select_related("station").order_by("pk")
        )  # fmt: skip


ZEROED, NOT_ZEROED = "screws zeroed", "not zeroed after all"


def zero_screws(
    *, by: Person, at: datetime, mill: Mill, stations: Collection[int] | None = None
) -> int:
    """The screws of these stations, None: of all, read from a new zero: positions from before no
    longer compare, and are struck out where they are shown. How many stations that was.

    Raises NotAllowed, ``unknown_station``, ``empty_text``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        chosen = _chosen(mill, stations)
        fields = {"screw_zeroed_at": at}
        n = sum(
            apply_edit(by=by, at=at, row=row, key=row.code, fields=fields, what=ZEROED)
            for row in chosen
        )
        _tell(mill)
    return n


def take_zero_back(
    *, by: Person, at: datetime, mill: Mill, stations: Collection[int] | None = None
) -> int:
    """The screws of these stations were not zeroed after all: each zero is what it was before.

    Raises NotAllowed, ``unknown_station``, ``empty_text``, ``nothing_to_take_back``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        n = 0
        for row in _chosen(mill, stations):
            said = Change.objects.filter(
                subject="Station", subject_key=row.code, what__in=(ZEROED, NOT_ZEROED)
            )
            last = said.order_by("pk").last()
            if last is None or last.what != ZEROED:
                continue
            before = last.before.get("screw_zeroed_at")
            fields = {"screw_zeroed_at": parse_datetime(before) if before else None}
            n += apply_edit(by=by, at=at, row=row, key=row.code, fields=fields, what=NOT_ZEROED)
        if not n:
            raise Conflict(
                "nothing_to_take_back",
                _("Nobody said that the screws of these stations were zeroed."),
            )
        _tell(mill)
    return n


def _chosen(mill: Mill, stations: Collection[int] | None) -> list[Station]:
    rows = list(Station.objects.select_for_update().filter(mill=mill).order_by("number"))
    _check_known(mill, rows, stations)
    return [row for row in rows if stations is None or row.number in set(stations)]


def _tell(mill: Mill) -> None:
    """Sheets of kits for the mill show old positions struck out."""
    kits = Kit.objects.filter(job__mill=mill).exclude(state=KitState.CLOSED)
    bump(list(kits.values_list("pk", flat=True)))


def _check_known(mill: Mill, rows: list[Station], stations: Collection[int] | None) -> None:
    strange = set(stations or ()) - {row.number for row in rows}
    if strange:
        raise ToolingError(
            "unknown_station",
            _("{mill} has no station {station}."),
            mill=mill.name,
            station=min(strange),
            in_field="stations",
        )
    if stations is not None and not stations:
        raise ToolingError("empty_text", _("Choose the stations."), in_field="stations")


def add_rule(
    *, by: Person, at: datetime, mill: Mill, kind: str, first: str = "", then: str = ""
) -> MillRule:
    """A rule for the order of jobs on a mill. ``first`` and ``then`` name a strip class or a
    coating as jobs carry them.

    Raises NotAllowed, ``unknown_rule``, ``empty_text``, ``long_text``, ``already_there``.
    """
    check_can(by, Verb.PLAN_JOBS)
    if kind not in MillRule.Kind.values:
        raise ToolingError(
            "unknown_rule",
            _("“{kind}” is no rule. Choose one of: {kinds}."),
            kind=kind[:40],
            kinds=", ".join(str(label) for label in MillRule.Kind.labels),
            in_field="kind",
        )
    needs_first = kind != MillRule.Kind.THIN_TO_THICK
    check = require_text if needs_first else optional_text
    first = check(first, field="first", label=_("Which strip"), longest=40)
    if kind == MillRule.Kind.NEVER_AFTER:
        then = require_text(then, field="then", label=_("Then which"), longest=40)
    else:
        then = ""
    fields = {"kind": kind, "first": first, "then": then}
    with writing():
        if MillRule.objects.filter(mill=mill, **fields).exists():
            raise already_there(label=_("Rule"), text=first or kind, field="first")
        rule = MillRule.objects.create(mill=mill, **fields)
        record_creation(by=by, at=at, row=rule, key=mill.number, fields=fields)
    return rule


def remove_rule(*, by: Person, at: datetime, rule: MillRule) -> None:
    """The rule holds no longer. Raises NotAllowed, ``rule_gone``."""
    check_can(by, Verb.PLAN_JOBS)
    with writing():
        fresh = MillRule.objects.select_for_update().filter(pk=rule.pk).first()
        if fresh is None:
            raise Conflict("rule_gone", _("That rule was removed already."))
        fields = {"kind": fresh.kind, "first": fresh.first, "then": fresh.then}
        record_removal(by=by, at=at, row=fresh, key=fresh.mill.number, fields=fields)
        fresh.delete()
