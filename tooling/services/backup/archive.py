"""The backup's file: a ZIP archive with a manifest, written beside its place and checked."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import NoRoom, ToolingError

FORMAT = 1
MANIFEST = "manifest.json"
BLOCK = 1 << 20
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
Progress = Callable[[float], None]


@dataclass(frozen=True)
class Table:
    """One table: its model, the columns in the order of the lines, how many rows, their sha256."""

    name: str
    model: str
    columns: list[str]
    rows: int
    sha256: str

    @property
    def entry(self) -> str:
        return f"tables/{self.name}.jsonl"


@dataclass(frozen=True)
class Manifest:
    """What a backup holds. ``migrations`` names the last migration of each app."""

    made_at: str
    database: str
    migrations: dict[str, str]
    tables: list[Table]
    files: dict[str, int]
    missing_files: list[str] = field(default_factory=list)
    format: int = FORMAT

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables)


class Writer:
    """Fills an archive entry by entry."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def lines(self, entry: str, lines: Iterable[bytes]) -> tuple[int, str]:
        """Write a table's lines; how many, and the sha256 of all."""
        digest, count = hashlib.sha256(), 0
        with self._archive.open(_info(entry, zipfile.ZIP_DEFLATED), "w", force_zip64=True) as out:
            for line in lines:
                out.write(line)
                digest.update(line)
                count += 1
        return count, digest.hexdigest()

    def file(self, entry: str, source: IO[bytes]) -> str:
        """Write a stored file as it is; its sha256."""
        digest = hashlib.sha256()
        with self._archive.open(_info(entry, zipfile.ZIP_STORED), "w", force_zip64=True) as out:
            for block in _blocks(source):
                out.write(block)
                digest.update(block)
        return digest.hexdigest()

    def manifest(self, manifest: Manifest) -> None:
        text = json.dumps(asdict(manifest), indent=1, ensure_ascii=False)
        self._archive.writestr(_info(MANIFEST, zipfile.ZIP_DEFLATED), text)


def _info(name: str, compression: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.compress_type = compression
    info.external_attr = 0o600 << 16
    info._compresslevel = 1  # type: ignore[attr-defined]  # no public name before Python 3.13
    return info


@contextmanager
def writing_to(path: Path) -> Iterator[Writer]:
    """An archive that takes its name only when whole and on the disk; readable by its owner only.

    Raises NoRoom, or ToolingError ``cannot_write_backup``; nothing is left then.
    """
    temporary = path.with_name(f".{path.name}.part")
    try:
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            with zipfile.ZipFile(file, "w", allowZip64=True) as archive:
                yield Writer(archive)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
        _sync_folder(path.parent)
    except OSError as error:
        if error.errno in FULL:
            raise NoRoom(
                "no_room",
                _(
                    "There is no room for {path}. Nothing was left there; make room or write "
                    "elsewhere."
                ),
                path=path,
            ) from error
        raise ToolingError(
            "cannot_write_backup",
            _("{path} cannot be written: {why}. Nothing was left there."),
            path=path,
            why=error.strerror or error,
        ) from error
    finally:
        temporary.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class Reader:
    """An archive whose every part was checked."""

    def __init__(self, archive: zipfile.ZipFile, manifest: Manifest) -> None:
        self._archive = archive
        self.manifest = manifest

    def lines(self, table: Table) -> Iterator[bytes]:
        with self._archive.open(table.entry) as source:
            yield from source

    def file(self, sha256: str) -> Iterator[bytes]:
        with self._archive.open(f"files/{sha256}") as source:
            yield from _blocks(source)


@contextmanager
def reading(path: Path, progress: Progress = lambda share: None) -> Iterator[Reader]:
    """Open a backup after reading all of it once against its checksums.

    Raises ToolingError ``no_backup``, ``not_a_backup``, ``damaged_backup`` or ``newer_backup``.
    """
    if not path.is_file():
        raise ToolingError("no_backup", _("There is no file {path}."), path=path)
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _manifest(archive, path)
            _check(archive, manifest, path, progress)
            yield Reader(archive, manifest)
    except zipfile.BadZipFile as error:
        raise _damaged(path, str(error)) from error


def _manifest(archive: zipfile.ZipFile, path: Path) -> Manifest:
    try:
        found: dict[str, Any] = json.loads(archive.read(MANIFEST))
    except (KeyError, ValueError) as error:
        raise ToolingError(
            "not_a_backup", _("{path} is no backup of rollroom: it has no manifest."), path=path
        ) from error
    if found.get("format") != FORMAT:
        raise ToolingError(
            "newer_backup",
            _("{path} has backup format {format}; this version reads {ours}."),
            path=path,
            format=found.get("format"),
            ours=FORMAT,
        )
    try:
        tables = [Table(**each) for each in found.pop("tables")]
        return Manifest(tables=tables, **found)
    except (KeyError, TypeError) as error:
        raise _damaged(path, f"manifest: {error}") from error


def _check(archive: zipfile.ZipFile, manifest: Manifest, path: Path, progress: Progress) -> None:
    wanted = {table.entry: table.sha256 for table in manifest.tables}
    wanted |= {f"files/{sha256}": sha256 for sha256 in manifest.files}
    there = set(archive.namelist()) - {MANIFEST}
    for entry in sorted(there ^ set(wanted)):
        raise _damaged(path, f"{entry}: " + ("missing" if entry in wanted else "not listed"))
    size = sum(archive.getinfo(entry).file_size for entry in wanted) or 1
    done = 0
    for entry, sha256 in wanted.items():
        digest = hashlib.sha256()
        try:
            with archive.open(entry) as source:
                for block in _blocks(source):
                    digest.update(block)
                    done += len(block)
                    progress(done / size)
        except (zipfile.BadZipFile, OSError, EOFError, ValueError, zlib.error) as error:
            raise _damaged(path, f"{entry}: {error}") from error
        if digest.hexdigest() != sha256:
            raise _damaged(path, f"{entry}: checksum")


def _blocks(source: IO[bytes]) -> Iterator[bytes]:
    while block := source.read(BLOCK):
        yield block


def _damaged(path: Path, why: str) -> ToolingError:
    return ToolingError(
        "damaged_backup",
        _("{path} is damaged ({why}). Nothing was touched; use another backup."),
        path=path,
        why=why,
    )
