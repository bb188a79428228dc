"""Runs: what ran through a mounted setup. Each puts its length on every piece that was mounted; a
wrong one is put right by a further row, and its entries with it."""

from __future__ import annotations

import uuid as uuids
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import Feed, KitPosition, Person, Run, Setup
from tooling.permissions import Verb, check_can
from tooling.queries.mounted_then import MountedThen, mounted_then
from tooling.queries.setups import SETUP_WITH
from tooling.services import run_entries
from tooling.services.edits import optional_text
from tooling.services.run_rows import SAID, check_setup, fields_of, new_row, same_again
from tooling.services.run_ways import RunIn
from tooling.services.said_again import said_again
from tooling.services.wear_states import advance_wear, refresh_wear
from tooling.services.write import bump, lock, writing


def record_run(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    said: RunIn,
    happened_at: datetime | None = None,
    began_at: datetime | None = None,
    coil: str = "",
    strip_class: str = "",
    thickness_nm: int | None = None,
    width_nm: int | None = None,
    feed: str = Feed.COIL,
    entries: int = 1,
    unit: str = "m",
    note: str = "",
    sure: bool = False,
    id: uuids.UUID | None = None,
) -> Run:
    """One coil or stretch ran, until ``happened_at``; every piece that was mounted then has run
    it. What is not said of the strip is the job's. The same ``id`` again changes nothing.

    Raises NotAllowed, ``id_reused``, what ``run_rows.check_setup`` raises (of a setup that was
    struck down only what ended before is taken), and what telling the length raises.
    """
    check_can(by, Verb.RECORD_RUNS)
    fields = fields_of(
        at=at, happened_at=happened_at, began_at=began_at, coil=coil, strip_class=strip_class,
        thickness_nm=thickness_nm, width_nm=width_nm, feed=feed, entries=entries, unit=unit,
        note=note,
    )  # fmt: skip
    with writing():
        there = said_again(Run, id, corrects_id=None, **same_again(setup, said, fields))
        if there is not None:
            return there
        setup, mounted, kits = _hold(setup, fields["happened_at"])
        check_setup(setup, fields["happened_at"], mounted)
        run = new_row(setup, said, fields, by=by, at=at, sure=sure, id=id)
        run.save(force_insert=True)
        run_entries.post(run, run_entries.amounts(run, mounted), corrected={})
        advance_wear(
            mounted.all, length_nm=run.length_nm, strip_class=run.strip_class,
            happened_at=run.happened_at, at=at,
        )  # fmt: skip
        bump(kits)
    return run


def correct_run(
    *,
    by: Person,
    at: datetime,
    run: Run,
    said: RunIn,
    happened_at: datetime | None = None,
    sure: bool = False,
    id: uuids.UUID | None = None,
    **fields: Any,
) -> Run:
    """The run was otherwise: the new row stands in its place, its entries put the old ones right,
    and a piece that was not mounted then gets nothing. What a person wrote for one piece instead
    stays. Allowed after striking too.

    Raises as `record_run`, and ``already_corrected``.
    """
    check_can(by, Verb.RECORD_RUNS)
    known = {name: getattr(run, name) for name in SAID}
    told = fields_of(at=at, happened_at=happened_at or run.happened_at, **{**known, **fields})
    with writing():
        there = said_again(Run, id, corrects_id=run.pk, **same_again(run.setup, said, told))
        if there is not None:
            return there
        setup, mounted, kits = _hold(run.setup, told["happened_at"], run)
        _check_stands(run)
        check_setup(setup, told["happened_at"], mounted)
        new = new_row(setup, said, told, by=by, at=at, sure=sure, id=id, corrects=run)
        new.save(force_insert=True)
        before = run_entries.standing_entries(run)
        by_hand = run_entries.kept_by_hand(before)
        given = {p: a for p, a in run_entries.amounts(new, mounted).items() if p not in by_hand}
        ours = {piece: entry for piece, entry in before.items() if piece not in by_hand}
        run_entries.post(new, given, corrected=ours)
        refresh_wear({*mounted.all, *before}, at=at)
        bump(kits)
    return new


def take_back(
    *, by: Person, at: datetime, run: Run, note: str = "", id: uuids.UUID | None = None
) -> Run:
    """It did not run: no piece has any of it, whatever was written of single ones.

    Raises NotAllowed, ``already_corrected``, ``id_reused``.
    """
    check_can(by, Verb.RECORD_RUNS)
    text = optional_text(note, field="note", label=_("Note"), longest=400)
    with writing():
        there = said_again(Run, id, corrects_id=run.pk, is_taken_back=True)
        if there is not None:
            return there
        setup, _mounted, kits = _hold(run.setup, run.happened_at, run)
        _check_stands(run)
        new = Run.objects.create(
            uuid=id or uuids.uuid4(), setup=setup, corrects=run, is_taken_back=True, length_nm=0,
            way=run.way, strip_class=run.strip_class, coil=run.coil, unit=run.unit, feed=run.feed,
            happened_at=run.happened_at, received_at=at, by=by, note=text,
        )  # fmt: skip
        before = run_entries.standing_entries(run)
        run_entries.post(new, {}, corrected=before)
        refresh_wear(before, at=at)
        bump(kits)
    return new


def _hold(
    setup: Setup, until: datetime, run: Run | None = None
) -> tuple[Setup, MountedThen, set[int]]:
    """Lock the setup's kit and every open kit that claims what was mounted, then those pieces."""
    fresh = Setup.objects.select_related(*SETUP_WITH).get(pk=setup.pk)
    mounted = mounted_then(fresh, at=until)
    ids = set(mounted.all)
    if run is not None:
        ids |= set(run.pieces.values_list("entry__piece_id", flat=True))
    claims = KitPosition.objects.filter(piece__in=ids, is_open=True)
    kits = {fresh.kit_id, *claims.order_by().values_list("kit_id", flat=True).distinct()}
    lock(kits=kits, pieces=ids)
    return fresh, mounted, kits


def _check_stands(run: Run) -> None:
    if run.is_taken_back or Run.objects.filter(corrects=run).exists():
        raise Conflict(
            "already_corrected",
            _("This run has been corrected already. Correct the one that replaced it."),
        )
