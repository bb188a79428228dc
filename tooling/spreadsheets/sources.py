"""Where a file's bytes come from: memory, or a file on disk that is never held whole."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

Source = bytes | Path
Progress = Callable[[], None]
"""Called every so often while a file is read; what it raises stops the reading."""

BLOCK = 1 << 20


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
