"""Backup and restore: whole or not at all, the same rows again, nothing touched by a bad file."""

from __future__ import annotations

import json
import os
import resource
import threading
import zipfile
from dataclasses import asdict, replace
from datetime import timedelta
from pathlib import Path

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from tests.world import MM, World
from tooling.errors import Conflict, NoRoom, NotAllowed, ToolingError
from tooling.models import Change, Piece, Place, Shop, StoredFile
from tooling.services import files, rebuild
from tooling.services.backup import rows
from tooling.services.backup.archive import Manifest, Table, reading, writing_to
from tooling.services.backup.make import backup
from tooling.services.backup.restore import restore
from tooling.services.write import snapshot


@pytest.fixture(autouse=True)
def files_folder(tmp_path: Path, settings) -> None:
    settings.FILES_DIR = tmp_path / "files"


@pytest.fixture
def shop(world: World, supervisor) -> World:
    """A shop with a bit of everything that is awkward to carry over."""
    rack = world.place("Rack ünder the roof ½")
    roll = world.drawing("D-1", bore_nm=40 * MM, face_width_nm=25_400_001)
    for n in range(3):
        world.piece(roll, rack, mark=f"P{n} “T2”\n\t", hardness_hrc=58.1, value_cents=10**12)
    world.stock(world.drawing("SP-10", kind="spacer"), rack, 250)
    world.mill("M1", stations=3)
    Change.objects.create(
        at=world.at, by=supervisor, subject="Piece", subject_key="x", what="edited",
        before={"b": [1.0, None, "ü"], "a": {"z": 2.5, "y": True}},
    )  # fmt: skip
    files.store(data=b"%PDF-1.4 a drawing", at=world.at)
    settle()
    return world


def settle() -> None:
    """PostgreSQL drops no trigger while checks of the same transaction wait."""
    connection.check_constraints()


def made_of(path: Path) -> dict[str, tuple[int, str]]:
    """What a backup holds, table by table."""
    with reading(path) as archive:
        return {table.name: (table.rows, table.sha256) for table in archive.manifest.tables}


@pytest.mark.django_db
def test_what_was_kept_comes_back_row_by_row(shop, supervisor, tmp_path) -> None:
    first = tmp_path / "first.zip"
    backup(by=supervisor, at=shop.at, path=first)
    Piece.objects.update(mark="lost in between")
    shop.place("A place too many")
    (Path(files.path_of(StoredFile.objects.get()))).unlink()
    settle()

    done = restore(path=first, replace=True)

    assert (done.rows, done.files) == (sum(n for n, _sha in made_of(first).values()), 1)
    assert sorted(Piece.objects.values_list("mark", flat=True)) == [
        "P0 “T2”\n\t", "P1 “T2”\n\t", "P2 “T2”\n\t",
    ]  # fmt: skip
    assert files.read(StoredFile.objects.get()) == b"%PDF-1.4 a drawing"
    assert rebuild.differences() == []
    second = tmp_path / "second.zip"
    backup(by=supervisor, at=shop.at, path=second)
    assert made_of(second) == made_of(first)


@pytest.mark.django_db
def test_history_is_guarded_again_and_the_next_row_has_a_number(shop, supervisor, tmp_path) -> None:
    backup(by=supervisor, at=shop.at, path=tmp_path / "b.zip")
    settle()
    restore(path=tmp_path / "b.zip", replace=True)
    settle()
    with pytest.raises(IntegrityError, match="history"), transaction.atomic():
        Change.objects.update(reason="rewritten")
    assert shop.place("One more").pk == max(Place.objects.values_list("pk", flat=True))


@pytest.mark.django_db
def test_what_is_there_is_not_replaced_unasked(shop, supervisor, tmp_path) -> None:
    backup(by=supervisor, at=shop.at, path=tmp_path / "b.zip")
    with pytest.raises(Conflict) as refused:
        restore(path=tmp_path / "b.zip")
    assert refused.value.code == "not_empty"
    assert "3 pieces" in refused.value.message


@pytest.mark.django_db
def test_only_a_supervisor_makes_one(shop, engineer, tmp_path) -> None:
    with pytest.raises(NotAllowed):
        backup(by=engineer, at=shop.at, path=tmp_path / "b.zip")
    assert not (tmp_path / "b.zip").exists()


@pytest.mark.django_db
def test_it_is_said_in_history_and_only_its_owner_reads_it(shop, supervisor, tmp_path) -> None:
    backup(by=supervisor, at=shop.at, path=tmp_path / "b.zip")
    told = Change.objects.get(what="backed up")
    assert (told.by, told.after["file"], told.after["files"]) == (supervisor, "b.zip", 1)
    assert (tmp_path / "b.zip").stat().st_mode & 0o077 == 0


@pytest.mark.django_db
def test_a_file_that_the_folder_lost_is_named(shop, supervisor, tmp_path) -> None:
    lost = StoredFile.objects.get()
    files.path_of(lost).unlink()
    with pytest.raises(ToolingError) as refused:
        backup(by=supervisor, at=shop.at, path=tmp_path / "b.zip")
    assert refused.value.code == "files_missing"
    assert lost.sha256[:12] in refused.value.message
    assert list(tmp_path.glob("*.zip*")) == []
    made = backup(by=supervisor, at=shop.at, path=tmp_path / "b.zip", without_missing_files=True)
    assert made.manifest.missing_files == [lost.sha256]


@pytest.mark.django_db
def test_a_place_that_cannot_be_written_is_said(shop, supervisor, tmp_path) -> None:
    with pytest.raises(ToolingError) as refused:
        backup(by=supervisor, at=shop.at, path=tmp_path / "no" / "such" / "b.zip")
    assert refused.value.code == "cannot_write_backup"
    assert "No such file or directory" in refused.value.message


@pytest.mark.django_db
def test_a_full_disk_is_said_and_leaves_nothing(shop, supervisor, tmp_path) -> None:
    """A real limit on the size of files that this process may write."""
    before, most = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4_096, most))
    try:
        with pytest.raises(NoRoom):
            backup(by=supervisor, at=shop.at, path=tmp_path / "b.zip")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (before, most))
    assert list(tmp_path.glob("*b.zip*")) == []


def cut_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def one_bit_turned(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[data.index(b"a drawing")] ^= 1
    path.write_bytes(data)


def bytes_in_a_table_turned(path: Path) -> None:
    with zipfile.ZipFile(path) as archive:
        start = archive.getinfo("tables/tooling_piece.jsonl").header_offset
    data = bytearray(path.read_bytes())
    for at in range(start + 60, start + 90):
        data[at] ^= 0x55
    path.write_bytes(data)


def written_anew(path: Path, change) -> None:
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def an_entry_taken_out(path: Path) -> None:
    written_anew(path, lambda parts: parts.pop("tables/tooling_place.jsonl"))


def an_entry_too_many(path: Path) -> None:
    written_anew(path, lambda parts: parts.update({"files/extra": b"x"}))


def a_row_edited(path: Path) -> None:
    def edit(parts: dict[str, bytes]) -> None:
        name = "tables/tooling_piece.jsonl"
        parts[name] = parts[name].replace(b"25400001", b"25400002").replace(b"58.1", b"58.2")

    written_anew(path, edit)


def no_manifest(path: Path) -> None:
    written_anew(path, lambda parts: parts.pop("manifest.json"))


def manifest_with(**told):
    def change(path: Path) -> None:
        def edit(parts: dict[str, bytes]) -> None:
            found = json.loads(parts["manifest.json"])
            parts["manifest.json"] = json.dumps({**found, **told}).encode()

        written_anew(path, edit)

    return change


def not_an_archive(path: Path) -> None:
    path.write_bytes(b"this is no archive")


def gone(path: Path) -> None:
    path.unlink()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("harm", "code"),
    [
        (cut_short, "damaged_backup"),
        (one_bit_turned, "damaged_backup"),
        (bytes_in_a_table_turned, "damaged_backup"),
        (an_entry_taken_out, "damaged_backup"),
        (an_entry_too_many, "damaged_backup"),
        (a_row_edited, "damaged_backup"),
        (not_an_archive, "damaged_backup"),
        (manifest_with(rows_of="what"), "damaged_backup"),
        (no_manifest, "not_a_backup"),
        (manifest_with(format=99), "newer_backup"),
        (manifest_with(migrations={"tooling": "9999_later"}), "newer_backup"),
        (gone, "no_backup"),
    ],
)
def test_a_bad_file_is_refused_before_anything_is_touched(
    shop, supervisor, tmp_path, harm, code
) -> None:
    path, proof = tmp_path / "b.zip", tmp_path / "proof.zip"
    backup(by=supervisor, at=shop.at, path=path)
    backup(by=supervisor, at=shop.at, path=proof)
    before = made_of(proof)
    harm(path)
    with pytest.raises(ToolingError) as refused:
        restore(path=path, replace=True)
    assert refused.value.code == code
    assert str(path) in refused.value.message
    backup(by=supervisor, at=shop.at, path=proof)
    changes = ("tooling_change",)
    assert {k: v for k, v in made_of(proof).items() if k not in changes} == {
        k: v for k, v in before.items() if k not in changes
    }


@pytest.mark.django_db
def test_a_row_that_the_database_cannot_hold_leaves_all_as_it_was(
    shop, supervisor, tmp_path
) -> None:
    """The file's checksums fit, yet a count in it is negative."""
    path, bad = tmp_path / "b.zip", tmp_path / "bad.zip"
    backup(by=supervisor, at=shop.at, path=path)
    with reading(path) as archive, writing_to(bad) as writer:
        tables = []
        for table in archive.manifest.tables:
            lines = list(archive.lines(table))
            if table.name == "tooling_stockline":
                at = table.columns.index("count")
                row = json.loads(lines[0])
                row[at] = -1
                lines = [rows.encode(row)]
            count, sha256 = writer.lines(table.entry, lines)
            tables.append(replace(table, rows=count, sha256=sha256))
        for sha256 in archive.manifest.files:
            with files.path_of(StoredFile.objects.get()).open("rb") as source:
                writer.file(f"files/{sha256}", source)
        writer.manifest(replace(archive.manifest, tables=tables))
    settle()
    with pytest.raises(IntegrityError), transaction.atomic():
        restore(path=bad, replace=True)
    assert Piece.objects.count() == 3
    with pytest.raises(IntegrityError), transaction.atomic():
        Change.objects.update(reason="rewritten")


def test_every_table_is_kept_or_left_out_with_a_reason() -> None:
    for model in apps.get_models(include_auto_created=True):
        label = model._meta.app_label
        assert (label in rows.KEPT_APPS) != (label in rows.LEFT_OUT), label


@pytest.mark.django_db
@hypothesis_settings(max_examples=25)
@given(
    told=st.dictionaries(
        st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\x00")),
        st.none()
        | st.booleans()
        | st.integers(-(2**63), 2**63)
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\x00")),
        max_size=4,
    )
)
def test_any_row_read_back_is_the_same_line(told) -> None:
    """Property: a line, written into the database and read again, is that line."""
    with transaction.atomic():
        names = rows.names(Change)
        Change.objects.create(at="2026-03-29T00:59:59.999999Z", subject="s", subject_key="k",
                              what="w", before=told)  # fmt: skip
        kept = list(rows.lines(Change, names))
        with connection.cursor() as cursor:
            cursor.execute("SAVEPOINT emptied")
        from_there = [json.loads(line) for line in kept]
        from_there[0][0] += 1
        again = [rows.encode(row, [names.index("before"), names.index("after")])
                 for row in from_there]  # fmt: skip
        assert rows.insert(Change, names, iter(again)) == 1
        assert list(rows.lines(Change, names))[-1] == again[0]
        transaction.set_rollback(True)


@pytest.mark.django_db(transaction=True)
def test_a_backup_sees_one_instant_while_others_write(at) -> None:
    Shop.objects.get_or_create(pk=1, defaults={"name": "Test shop"})

    def write() -> None:
        Change.objects.create(at=at, subject="Shop", subject_key="shop", what="edited")
        connection.close()

    with snapshot() as using:
        before = Change.objects.using(using).count()
        writer = threading.Thread(target=write)
        writer.start()
        writer.join(timeout=20)
        assert not writer.is_alive(), "the writer waited for the reader"
        Change.objects.create(at=at, subject="Shop", subject_key="shop", what="edited")
        assert Change.objects.using(using).count() == before
    assert Change.objects.count() == before + 2


def test_a_manifest_says_what_it_holds() -> None:
    tables = [Table("t", "m", ["id"], 3, ""), Table("u", "m", ["id"], 4, "")]
    manifest = Manifest("2026-01-01", "sqlite", {}, tables, {})
    assert manifest.rows == 7
    assert asdict(manifest)["tables"][0]["name"] == "t"


@pytest.mark.django_db
def test_progress_goes_from_nothing_to_all(shop, supervisor, tmp_path) -> None:
    shares: list[float] = []
    backup(by=supervisor, at=shop.at + timedelta(hours=1), path=tmp_path / "b.zip",
           progress=shares.append)  # fmt: skip
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)
    assert os.listdir(tmp_path).count("b.zip") == 1
