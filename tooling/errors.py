"""Every error a person can meet: a code for programs, a template for people, values for both.

The template is marked for translation where it is raised (``gettext_lazy``); the door that
shows it translates and fills it.
"""

from __future__ import annotations

from typing import Any


class ToolingError(Exception):
    """A stated problem. ``code`` is stable, ``template`` is a sentence with ``{name}`` slots."""

    status = 400

    def __init__(self, code: str, template: Any, /, **values: Any) -> None:
        super().__init__(code)
        self.code = code
        self.template = template
        self.values = values

    @property
    def message(self) -> str:
        """The sentence with its values filled in, in the active language."""
        return str(self.template).format(**self.values)

    def __str__(self) -> str:
        return f"{self.code}: {self.message}"


class NotAllowed(ToolingError):
    """The person may not do this; the sentence says which role may."""

    status = 403

    def __init__(self, template: Any, /, **values: Any) -> None:
        super().__init__("not_allowed", template, **values)


class Unknown(ToolingError):
    """No such code, number or name."""

    status = 404


class Conflict(ToolingError):
    """The present state forbids it: a closed kit, a piece staged elsewhere, a stale plan."""

    status = 409


class NoRoom(ToolingError):
    """The disk is full: nothing was saved, and the same may be sent again later."""

    status = 507


class PinNeeded(ToolingError):
    """Who came by badge is asked for a PIN first: none was given, or it was wrong."""

    status = 403
