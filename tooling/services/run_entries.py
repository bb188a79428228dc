"""What a run puts on pieces: a length entry each, in bulk, and the sums that are kept of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import connection
from django.db.models import F

from tooling.models import LengthEntry, Piece, Run
from tooling.queries.mounted_then import MountedThen

Amount = tuple[int, int]
"""Strip length in nm and strokes."""


def amounts(run: Run, mounted: MountedThen) -> dict[int, Amount]:
    """What each piece gets: the run's length, and what cuts on the line a stroke for each part."""
    if run.is_taken_back:
        return {}
    whole = dict.fromkeys(mounted.on_shafts, (run.length_nm, 0))
    whole |= dict.fromkeys(mounted.on_the_line, (run.length_nm, 0))
    return whole | dict.fromkeys(mounted.cutting, (run.length_nm, run.parts or 0))


def post(run: Run, given: Mapping[int, Amount], *, corrected: Mapping[int, LengthEntry]) -> None:
    """Write the entries; those of ``corrected`` (by piece id) are put right by them, with nothing
    where the piece gets none any more. The pieces' sums move by the difference. Call inside the
    write, with the pieces locked."""
    alike: dict[Amount, list[int]] = {}
    for piece, amount in given.items():
        if piece not in corrected:
            alike.setdefault(amount, []).append(piece)
    made = [pk for amount, pieces in sorted(alike.items()) for pk in _insert(run, amount, pieces)]
    putting_right = [
        _entry(run, piece, given.get(piece, (0, 0)), entry)
        for piece, entry in sorted(corrected.items())
    ]
    made += [entry.pk for entry in LengthEntry.objects.bulk_create(putting_right)]
    _tell_whose(run, made)
    for amount, pieces in sorted(alike.items()):
        _add(pieces, amount)
    _add_up(putting_right, corrected)


COLUMNS = ("length_nm", "strokes", "strip_class", "source", "run_reference", "happened_at",
           "received_at", "by", "note")  # fmt: skip


def _insert(run: Run, amount: Amount, pieces: Sequence[int]) -> list[int]:
    """The same entry for each of these pieces, in one statement; ids of the rows. A run of a whole
    mill is hundreds of rows that differ in their piece only."""
    said = _entry(run, 0, amount, None)
    fields: list[Any] = [LengthEntry._meta.get_field(name) for name in COLUMNS]
    values = [field.get_db_prep_save(getattr(said, field.attname), connection) for field in fields]
    key = "lower(hex(randomblob(16)))" if connection.vendor == "sqlite" else "gen_random_uuid()"
    columns = ", ".join(field.column for field in fields)
    sql = (
        f"INSERT INTO tooling_lengthentry (uuid, piece_id, {columns}) "
        f"SELECT {key}, p.id, {', '.join(['%s'] * len(values))} FROM tooling_piece p "
        f"WHERE p.id IN ({', '.join(['%s'] * len(pieces))}) RETURNING id"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql, [*values, *pieces])
        return [pk for (pk,) in cursor.fetchall()]


def _tell_whose(run: Run, entries: Sequence[int]) -> None:
    """That these entries are the run's, in one statement."""
    if not entries:
        return
    sql = (
        "INSERT INTO tooling_runpiece (run_id, entry_id) SELECT %s, e.id "
        f"FROM tooling_lengthentry e WHERE e.id IN ({', '.join(['%s'] * len(entries))})"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql, [run.pk, *entries])


def standing_entries(run: Run) -> dict[int, LengthEntry]:
    """Piece id → the entry that stands of what the run, or one that it corrects, put on it: the
    run's own, or what a person wrote in its stead. A query for each row in a chain."""
    chain, before = [run.pk], run.corrects_id
    while before is not None:
        chain.append(before)
        before = Run.objects.values_list("corrects_id", flat=True).get(pk=before)
    own = LengthEntry.objects.filter(of_run__run__in=chain).order_by("pk")
    found = {entry.pk: entry for entry in own}
    waiting = dict(found)
    while waiting:
        later = LengthEntry.objects.filter(corrects__in=list(waiting)).order_by("pk")
        waiting = {}
        for entry in later:
            found.pop(entry.corrects_id or 0, None)
            found[entry.pk] = waiting[entry.pk] = entry
    return {entry.piece_id: entry for entry in found.values()}


def _entry(run: Run, piece: int, amount: Amount, corrects: LengthEntry | None) -> LengthEntry:
    length, strokes = amount
    return LengthEntry(
        piece_id=piece,
        length_nm=length,
        strokes=strokes,
        strip_class=run.strip_class,
        source="run",
        run_reference=reference(run),
        happened_at=run.happened_at,
        received_at=run.received_at,
        by_id=run.by_id,
        corrects=corrects,
        note=run.note[:200],
    )


def reference(run: Run) -> str:
    """What an entry calls its run: the kit, and the coil where it is named."""
    return f"{run.setup.kit.number} {run.coil}".strip()[:40]


def _add_up(entries: Sequence[LengthEntry], corrected: Mapping[int, LengthEntry]) -> None:
    """One statement for each different amount: most pieces of a run get the same."""
    alike: dict[Amount, list[int]] = {}
    for entry in entries:
        before = corrected.get(entry.piece_id)
        more = (
            entry.length_nm - (before.length_nm if before else 0),
            entry.strokes - (before.strokes if before else 0),
        )
        if more != (0, 0):
            alike.setdefault(more, []).append(entry.piece_id)
    for amount, pieces in sorted(alike.items()):
        _add(pieces, amount)


def _add(pieces: Sequence[int], amount: Amount) -> None:
    length, strokes = amount
    Piece.objects.filter(pk__in=pieces).update(
        length_run_nm=F("length_run_nm") + length, strokes_run=F("strokes_run") + strokes
    )


def kept_by_hand(entries: Mapping[int, LengthEntry]) -> set[int]:
    """Pieces of which a person wrote another length than the run did: that stands."""
    return {piece for piece, entry in entries.items() if entry.source != "run"}
