"""Bringing spreadsheets in: files, mapping, preview, then all or nothing.

A few hundred rows are looked over and applied at once; more are the worker's, and the import is
``reading`` or ``applying`` until its task is over.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Import, ImportFile, ImportMapping, ImportState, Person
from tooling.permissions import Verb, check_can
from tooling.services import files, import_work, tasks
from tooling.services.importing import outcomes
from tooling.services.importing.run import Progress, nobody_asks, sources
from tooling.services.write import record_change, writing
from tooling.spreadsheets.entries import Entry, guess_entries, titled, worth_keeping
from tooling.spreadsheets.guards import check_file
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.row_counts import about_rows

LONGEST_NAME = 150
MOST_AT_ONCE = 2_000
"""More rows than this are the worker's."""

NOTHING = {"create": 0, "change": 0, "same": 0}
OPEN_STATES = (ImportState.MAPPING, ImportState.READY, ImportState.PROBLEMS)


@dataclass(frozen=True)
class Brought:
    """One file as it came: its name and its bytes."""

    name: str
    data: bytes


def bring(
    *,
    by: Person,
    at: datetime,
    brought: Sequence[Brought],
    mapping_name: str = "",
    at_once: Progress | None = None,
) -> Import:
    """Keep the files, guess what each sheet holds, and work out what applying would do.

    ``at_once``: do it here and now however many rows there are, telling this how far it is.
    Raises ToolingError ``no_spreadsheet`` and its kin, ``no_files``, ``unknown_mapping``; NoRoom
    ``no_room``.
    """
    check_can(by, Verb.IMPORT)
    if not brought:
        raise ToolingError("no_files", _("Choose at least one spreadsheet."))
    kept = _kept_mapping(mapping_name)
    brought = _told_apart(brought)
    for each in brought:
        check_file(each.data, name=each.name)
    if at_once is None and _rows(brought) > MOST_AT_ONCE:
        return _bring_to_worker(by, at, brought, mapping_name)
    guessed = [guess_entries(each.data, name=each.name, kept=kept) for each in brought]
    made = _begin(by, at, brought, titled(entry for entries in guessed for entry in entries))
    import_work.look(by=by, at=at, made=made, progress=at_once or nobody_asks)
    return made


def _bring_to_worker(
    by: Person, at: datetime, brought: Sequence[Brought], mapping_name: str
) -> Import:
    made = _begin(by, at, brought, [])
    given = {"import": made.pk, "mapping_name": mapping_name}
    with writing():
        return _give_to_worker(by, at, made, import_work.READING, given)


def _begin(by: Person, at: datetime, brought: Sequence[Brought], entries: list[Entry]) -> Import:
    """Keep the files and name them, all or none."""
    stored = [files.store(data=each.data, at=at) for each in brought]
    with writing():
        made = Import.objects.create(
            state=ImportState.MAPPING, mapping={"sheets": entries}, rows=NOTHING, by=by,
            created_at=at,
        )  # fmt: skip
        for each, file in zip(brought, stored, strict=True):
            ImportFile.objects.create(brought_by=made, file=file, name=each.name)
    return made


def _rows(brought: Sequence[Brought]) -> int:
    return sum(about_rows(each.data, most=MOST_AT_ONCE) for each in brought)


def _give_to_worker(
    by: Person, at: datetime, made: Import, kind: str, given: dict[str, Any]
) -> Import:
    state = ImportState.READING if kind == import_work.READING else ImportState.APPLYING
    made.state, made.task = state, tasks.ask(by=by, at=at, kind=kind, given=given)
    made.save(update_fields=["state", "task"])
    return made


def read(
    *, by: Person, at: datetime, made: Import, mapping_name: str = "",
    progress: Progress = nobody_asks, task_id: int | None = None,
) -> int:  # fmt: skip
    """Guess what the files hold where nobody has said it yet, and look them over; how many
    problems there are.

    An import whose files cannot be read is dropped. Raises those of the readers.
    """
    try:
        if not made.mapping["sheets"]:
            kept = _kept_mapping(mapping_name)
            import_work.guess(by=by, at=at, made=made, kept=kept, progress=progress)
        return import_work.look(by=by, at=at, made=made, progress=progress, task_id=task_id)
    except ToolingError:
        if not made.mapping["sheets"]:
            with writing():
                Import.objects.filter(pk=made.pk).update(state=ImportState.DROPPED)
        raise


def _told_apart(brought: Sequence[Brought]) -> list[Brought]:
    """Two files of one name get a number; a name longer than is kept loses its beginning."""
    taken: set[str] = set()
    named = []
    for each in brought:
        name, turn = each.name[-LONGEST_NAME:], 1
        while name in taken:
            turn += 1
            name = f"{turn} {each.name}"[-LONGEST_NAME:]
        taken.add(name)
        named.append(Brought(name, each.data))
    return named


def _kept_mapping(name: str) -> list[dict[str, Any]]:
    if not name:
        return []
    kept = ImportMapping.objects.filter(name=name).first()
    if kept is None:
        raise ToolingError("unknown_mapping", _("There is no kept mapping “{name}”."), name=name)
    return list(kept.mapping.get("sheets", []))


def remap(*, by: Person, at: datetime, made: Import, mapping: dict[str, Any]) -> Import:
    """Use another mapping, then look again. ``mapping``: {"sheets": [{…, "mapping": …}]}."""
    check_can(by, Verb.IMPORT)
    _check_open(made)
    for entry in mapping.get("sheets", []):
        if entry.get("mapping"):
            Mapping.from_dict(entry["mapping"])
    with writing():
        made.mapping = mapping
        made.save(update_fields=["mapping"])
    return look_over(by=by, at=at, made=made)


def keep_mapping(*, by: Person, at: datetime, made: Import, name: str) -> ImportMapping:
    """Keep this import's mapping under a name, replacing the one of that name."""
    check_can(by, Verb.IMPORT)
    if not name.strip():
        raise ToolingError("no_name", _("Give the mapping a name."))
    with writing():
        kept, _made = ImportMapping.objects.update_or_create(
            name=name.strip(),
            defaults={
                "mapping": {"sheets": [worth_keeping(each) for each in made.mapping["sheets"]]},
                "by": by,
                "saved_at": at,
            },
        )
        record_change(by=by, at=at, subject=kept, key=kept.name, what="kept")
    return kept


def look_over(*, by: Person, at: datetime, made: Import) -> Import:
    """Work out what applying would do, at once or by the worker. Changes no record."""
    check_can(by, Verb.IMPORT)
    _check_open(made)
    if is_large(made):
        with writing():
            _check_open(made)
            given = {"import": made.pk}
            return _give_to_worker(by, at, made, import_work.READING, given)
    read(by=by, at=at, made=made)
    return made


def apply(*, by: Person, at: datetime, made: Import, at_once: Progress | None = None) -> Import:
    """Apply the import whole, or refuse with its first problem and change nothing.

    Raises Conflict ``import_over`` when it was applied or dropped or is being worked on, and at
    once those of ``import_work.write``; the worker says them of its task.
    """
    check_can(by, Verb.IMPORT)
    _check_open(made)
    if at_once is None and is_large(made):
        with writing():
            _check_open(made)
            given = {"import": made.pk}
            return _give_to_worker(by, at, made, import_work.APPLYING, given)
    return import_work.write(by=by, at=at, made=made, progress=at_once or nobody_asks)


def is_large(made: Import) -> bool:
    """Whether the import has more rows than are worked on at once."""
    counted = (about_rows(path, most=MOST_AT_ONCE) for _name, path in sources(made))
    return sum(counted) > MOST_AT_ONCE


def cancel(*, by: Person, at: datetime, made: Import) -> Import:
    """Stop the worker's reading or applying; the import is open again, nothing was written.

    Raises Conflict ``task_over`` when nothing is being done.
    """
    check_can(by, Verb.IMPORT)
    made.refresh_from_db()
    if made.task is None:
        raise Conflict(
            "task_over", _("Nothing is being done with import {number}."), number=made.pk
        )
    tasks.stop(at=at, task=made.task)
    made.refresh_from_db()
    return made


def problems_csv(made: Import) -> Iterator[bytes]:
    """The problems that the import keeps, as a CSV file piece by piece."""
    return outcomes.problems_csv(made.problems)


def drop(*, by: Person, at: datetime, made: Import) -> None:
    """Put an import away unapplied; its files are kept."""
    check_can(by, Verb.IMPORT)
    _check_open(made)
    with writing():
        made.state = ImportState.DROPPED
        made.save(update_fields=["state"])
        record_change(by=by, at=at, subject=made, key=str(made.pk), what="dropped")


def _check_open(made: Import) -> None:
    made.refresh_from_db(fields=["state"])
    if made.state not in OPEN_STATES:
        raise import_work.import_over(made)
