"""What is written down of a run, checked, and the row that is made of it."""

from __future__ import annotations

import uuid as uuids
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import format_strip_length
from tooling.engineering.strip import ESTIMATES
from tooling.engineering.strip import Run as Judged
from tooling.errors import Conflict, ToolingError
from tooling.models import Feed, Person, Run, RunSource, Setup
from tooling.queries.counter_feed import Moved, counters_moved
from tooling.queries.mounted_then import MountedThen
from tooling.queries.runs import Span, counter_before, feed_since, spans_of
from tooling.queries.settings import setting_value
from tooling.services.edits import optional_text
from tooling.services.readings import CLOCKS_DIFFER
from tooling.services.run_ways import (
    THICKEST_NM,
    WIDEST_NM,
    RunIn,
    Strip,
    density_of,
    judged,
    others_of,
    ways_of,
)

MOST_ENTRIES = 100_000
Fields = dict[str, Any]
SAID = (
    "began_at", "coil", "strip_class", "thickness_nm", "width_nm", "feed", "entries", "unit", "note"
)  # fmt: skip
"""What of a run stays as it was where a correction does not say otherwise."""

TEXTS = (("coil", _("Coil"), 60), ("strip_class", _("Strip"), 40), ("note", _("Note"), 400))


def fields_of(*, at: datetime, happened_at: datetime | None, **told: Any) -> Fields:
    """What is said of a run besides its length, checked.

    Raises ``in_the_future``, ``ends_before_it_begins``, ``unknown_feed``, ``absurd_entries``,
    ``absurd_strip``, ``long_text``.
    """
    until = happened_at or at
    _check_times(until, told["began_at"], at)
    if told["feed"] not in Feed.values:
        raise ToolingError(
            "unknown_feed",
            _("Strip comes from the coil or in pre-cut lengths."),
            in_field="feed",
        )
    if not 0 < told["entries"] <= MOST_ENTRIES:
        raise ToolingError(
            "absurd_entries",
            _("Strip was threaded once at least. Write how often."),
            in_field="entries",
        )
    for name, most in (("thickness", THICKEST_NM), ("width", WIDEST_NM)):
        value = told[f"{name}_nm"]
        if value is not None and not 0 < value <= most:
            raise ToolingError(
                "absurd_strip", _("No strip is like that. Check number and unit."), in_field=name
            )
    for name, label, longest in TEXTS:
        told[name] = optional_text(told[name], field=name, label=label, longest=longest)
    return {**told, "happened_at": until, "unit": "ft" if told["unit"] == "ft" else "m"}


def _check_times(until: datetime, began: datetime | None, at: datetime) -> None:
    if until > at + CLOCKS_DIFFER:
        raise ToolingError(
            "in_the_future",
            _("{moment} is still to come. Write when the run ended."),
            moment=_said(until),
            in_field="happened_at",
        )
    if began is not None and began > until:
        raise ToolingError(
            "ends_before_it_begins",
            _("The run ends before it begins. Check both times."),
            in_field="began_at",
        )


def same_again(setup: Setup, said: RunIn, fields: Mapping[str, Any]) -> Fields:
    """What a repeat with the same id says again."""
    same = {
        "setup_id": setup.pk, "coil": fields["coil"], "feed": fields["feed"],
        "entries": fields["entries"], "parts": said.parts, "part_nm": said.part_nm,
        "scrap_nm": said.scrap_nm, "threading_nm": said.threading_nm,
    }  # fmt: skip
    if said.length_nm is not None:
        same["length_nm"] = said.length_nm
    if said.counter_end_nm is not None or said.counter_now_nm is not None:
        same["counter_end_nm"] = said.counter_end_nm or said.counter_now_nm
    return same


def check_setup(setup: Setup, until: datetime, mounted: MountedThen) -> None:
    """Raise unless the setup stood then: ``setup_closed``, ``before_setup``, ``not_docked``,
    ``nothing_mounted``."""
    if setup.struck_at is not None and until > setup.struck_at:
        raise Conflict(
            "setup_closed",
            _("The setup of kit {kit} was struck down on {struck}. Write when the run ended, "
              "before that, or choose the setup that runs now."),
            kit=setup.kit.number,
            struck=_said(setup.struck_at),
            in_field="happened_at",
        )  # fmt: skip
    if until < setup.started_at:
        raise Conflict(
            "before_setup",
            _("Kit {kit} was not on the mill before {moment}. Check when the run ended."),
            kit=setup.kit.number,
            moment=_said(setup.started_at),
            in_field="happened_at",
        )
    if setup.plate is not None and (setup.docked_at is None or until < setup.docked_at):
        raise Conflict(
            "not_docked",
            _("{plate} was not on {mill} then."),
            plate=setup.plate.name,
            mill=setup.mill.name,
        )
    if not mounted.on_shafts:
        raise Conflict(
            "nothing_mounted",
            _("Nothing of kit {kit} was on the shafts then. Say what is mounted first."),
            kit=setup.kit.number,
        )


def new_row(
    setup: Setup,
    said: RunIn,
    fields: Fields,
    *,
    by: Person,
    at: datetime,
    sure: bool,
    id: uuids.UUID | None,
    corrects: Run | None = None,
) -> Run:
    """The row, not saved yet. Raises what telling the length may raise, and until ``sure``
    ``counter_repeated``, ``counter_late`` and ``improbable_value``."""
    job = setup.kit.job
    fields = {**fields, "strip_class": fields["strip_class"] or job.strip_class}
    said, fed = _from_counter(setup, said, fields, corrects)
    of = Strip(
        thickness_nm=fields["thickness_nm"] or job.thickness_nm,
        width_nm=fields["width_nm"] or job.width_nm,
        kg_per_m3=density_of(job.grade, fields["strip_class"]),
    )
    ways = ways_of(said, of, fed_nm=fed.moved_nm if fed else None)
    found = judged(ways, mill=setup.mill, tool_set=job.tool_set)
    if not sure:
        _ask(
            setup, said, found, until=fields["happened_at"], unit=fields["unit"], corrects=corrects
        )
    told: Fields = {
        "counter_start_nm": said.counter_start_nm,
        "counter_end_nm": said.counter_end_nm,
        "parts": said.parts,
        "part_nm": said.part_nm,
        "scrap_nm": said.scrap_nm,
        "threading_nm": said.threading_nm,
    }
    return Run(
        uuid=id or uuids.uuid4(),
        setup=setup,
        received_at=at,
        by=by,
        corrects=corrects,
        length_nm=found.length.length_nm,
        way=found.length.way,
        ways={**_kept(corrects, found), **others_of(found)},
        source=RunSource.COUNTER if fed else RunSource.TYPED,
        **told,
        **fields,
    )


def _kept(corrects: Run | None, found: Judged) -> dict[str, int]:
    """Estimates that were told of the run before and not again: what they rest on is not kept."""
    before = corrects.ways if corrects is not None else {}
    return {way: nm for way, nm in before.items() if way in ESTIMATES and way != found.length.way}


def _from_counter(
    setup: Setup, said: RunIn, fields: Fields, corrects: Run | None
) -> tuple[RunIn, Moved | None]:
    """Where the mill's counter is to say it: from what it began at, and what its feed moved."""
    if said.counter_now_nm is not None and said.counter_start_nm is None:
        start = counter_before(setup, until=fields["happened_at"], leave_out=corrects)
        if start is None:
            raise ToolingError(
                "no_counter_start",
                _("No run says what the counter stood at before. Write that too, or the length."),
                in_field="counter_start",
            )
        said = replace(said, counter_start_nm=start, counter_end_nm=said.counter_now_nm)
    elif said.counter_now_nm is not None:
        said = replace(said, counter_end_nm=said.counter_now_nm)
    if not said.from_feed:
        return said, None
    since = fields["began_at"] or feed_since(setup, until=fields["happened_at"], leave_out=corrects)
    fields["began_at"] = since
    return said, _fed(setup, said, since, fields["happened_at"])


def _fed(setup: Setup, said: RunIn, since: datetime, until: datetime) -> Moved:
    found = counters_moved(setup.mill, since=since, until=until)
    wanted = [each for each in found if not said.counter or each.counter == said.counter]
    if not wanted:
        raise Conflict(
            "no_counter",
            _("The counter of {mill} told nothing between {since} and {until}. Write the length."),
            mill=setup.mill.name,
            since=_said(since),
            until=_said(until),
            in_field="length",
        )
    if len(wanted) > 1:
        raise ToolingError(
            "which_counter",
            _("{mill} has several counters: {names}. Say which."),
            mill=setup.mill.name,
            names=", ".join(each.counter or "-" for each in wanted),
            in_field="counter",
        )
    return wanted[0]


def _ask_of_counter(
    setup: Setup, start: int, end: int, until: datetime, unit: Any, corrects: Run | None
) -> None:
    """``counter_repeated``: another run has told that stretch; ``counter_late``: by its counter it
    was before a run that ended earlier, or after one that ended later. From 0 it was set back."""
    spans = spans_of(setup, leave_out=corrects)
    if any(start < other.end_nm and other.start_nm < end for other in spans):
        raise Conflict(
            "counter_repeated",
            _("Another run of this setup has told that stretch of the counter. If it was set "
              "back in between, say so."),
            in_field="counter_start",
            asks="sure",
        )  # fmt: skip
    earlier = next((other for other in reversed(spans) if other.at <= until), None)
    later = next((other for other in spans if other.at > until), None)
    if earlier is not None and 0 < start < earlier.start_nm:
        raise _late(_("before"), earlier, unit)
    if later is not None and later.start_nm > 0 and later.end_nm <= start:
        raise _late(_("after"), later, unit)


def _late(turn: object, other: Span, unit: Any) -> Conflict:
    return Conflict(
        "counter_late",
        _("By the counter this run was {turn} the one that ended at {moment} with {stood} {unit}. "
          "Write when it ended; if the counter was set back in between, say so."),
        turn=turn,
        moment=_said(other.at),
        stood=format_strip_length(other.end_nm, unit, 0),
        unit=unit,
        in_field="happened_at",
        asks="sure",
    )  # fmt: skip


def _ask(
    setup: Setup, said: RunIn, found: Judged, *, until: datetime, unit: str, corrects: Run | None
) -> None:
    """Ask about what hardly is: the counter's span was told before, or far more than planned."""
    if said.counter_start_nm is not None and said.counter_end_nm is not None:
        _ask_of_counter(setup, said.counter_start_nm, said.counter_end_nm, until, unit, corrects)
    most = float(setting_value("run_improbable", mill=setup.mill))
    planned, length = setup.kit.job.length_nm, found.length.length_nm
    if planned and length > planned * most:
        written: Any = unit
        raise ToolingError(
            "improbable_value",
            _("{length} {unit} is far more than the {planned} {unit} of the whole job. Look again; "
              "if it is right, say so."),
            length=format_strip_length(length, written, 0),
            planned=format_strip_length(planned, written, 0),
            unit=unit,
            in_field="length",
            asks="sure",
        )  # fmt: skip


def _said(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%Y-%m-%d %H:%M}"
