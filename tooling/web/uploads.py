"""What a browser sends, taken in without filling the memory or the disk.

Small files stay in memory (Django's own handler, which stands before this one); larger ones go
to a file in ``DATA_DIR/incoming`` until the limit. What comes beyond it is counted and let go,
so that the sentence can say how large the file was.
"""

from __future__ import annotations

import tempfile
from typing import IO, Any, NoReturn

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler

from tooling.errors import ToolingError
from tooling.services import files


class RefusedUpload(UploadedFile):
    """A file that was not kept. Whoever reads it is told why."""

    def __init__(self, trouble: ToolingError, **about: Any) -> None:
        super().__init__(None, **about)
        self.trouble = trouble

    def read(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise self.trouble

    def chunks(self, chunk_size: int | None = None) -> NoReturn:
        raise self.trouble


class BoundedUploadHandler(FileUploadHandler):
    """At most ``UPLOAD_MOST_BYTES`` of each file reach the disk."""

    temporary: IO[bytes] | None = None
    trouble: ToolingError | None = None
    seen = 0

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.seen, self.trouble = 0, None
        self._write_or_say(b"")

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        self.seen += len(raw_data)
        if self.seen > settings.UPLOAD_MOST_BYTES:
            self._let_go()
        if self.temporary is not None:
            self._write_or_say(raw_data)

    def file_complete(self, file_size: int) -> UploadedFile:
        about: dict[str, Any] = {
            "name": self.file_name,
            "content_type": self.content_type,
            "size": file_size,
            "charset": self.charset,
        }
        if self.temporary is None:
            return RefusedUpload(self.trouble or files.too_large(file_size), **about)
        file, self.temporary = self.temporary, None
        file.seek(0)
        return UploadedFile(file, **about)

    def upload_interrupted(self) -> None:
        self._let_go()

    def _write_or_say(self, data: bytes) -> None:
        try:
            with files.full_disk_is_said():
                if self.temporary is None:
                    self.temporary = tempfile.TemporaryFile(  # noqa: SIM115 - lives until read
                        dir=settings.FILE_UPLOAD_TEMP_DIR, buffering=0
                    )
                self.temporary.write(data)
        except ToolingError as error:
            self.trouble = error
            self._let_go()

    def _let_go(self) -> None:
        if self.temporary is not None:
            self.temporary.close()
            self.temporary = None
