"""Where a file's bytes come from: memory, or a file on disk that is never held whole."""

from __future__ import annotations

import io
import lzma
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

Source = bytes | Path
Progress = Callable[[], None]
"""Called every so often while a file is read; what it raises stops the reading."""

BLOCK = 1 << 20

DAMAGED_ARCHIVE = (
    zipfile.BadZipFile,  # its lists and sums do not agree
    zlib.error,  # what was packed does not unpack; in the rarer packings the next two
    lzma.LZMAError,
    OSError,  # also a part that begins before the file does, on disk; in memory a ValueError
    ValueError,  # also a name that is no UTF-8
    EOFError,  # a part that ends too early
    RuntimeError,  # a password, a packing or a version that is unknown (NotImplementedError)
)
"""What ``zipfile`` raises of a damaged file when its parts are read; of its list of parts alone
only BadZipFile, NotImplementedError and ValueError."""


def nobody_asks() -> None:
    """Progress that nobody wants to know."""


def opened(source: Source) -> IO[bytes]:
    """The bytes as a stream; whoever opens it closes it."""
    return source.open("rb") if isinstance(source, Path) else io.BytesIO(source)


def size_of(source: Source) -> int:
    """How many bytes there are."""
    return source.stat().st_size if isinstance(source, Path) else len(source)


def head_of(source: Source, count: int) -> bytes:
    """The first bytes."""
    with opened(source) as stream:
        return stream.read(count)


def blocks_of(source: Source) -> Iterator[bytes]:
    """The bytes, a block at a time."""
    with opened(source) as stream:
        while block := stream.read(BLOCK):
            yield block
