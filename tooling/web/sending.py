"""Stored files as answers."""

from __future__ import annotations

from django.http import FileResponse

from tooling.models import StoredFile
from tooling.services import files


def sent(file: StoredFile, *, name: str, in_place: bool = True) -> FileResponse:
    """A stored file, a little at a time: of the type that its bytes were found to have, never
    guessed by the browser, and nothing in it runs."""
    response = FileResponse(
        files.open_file(file),
        as_attachment=not in_place,
        filename=name,
        content_type=file.content_type,
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
