"""What is known of a phone or tablet: its name, whether several people use it, at which mill."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Device, Mill, Person
from tooling.permissions import Verb, check_can
from tooling.services.edits import apply_edit
from tooling.services.write import writing


def edit_device(
    *, by: Person, at: datetime, key: uuid.UUID, name: str, is_shared: bool, mill: Mill | None
) -> Device:
    """Name a device and say who uses it where. One that never scanned is made known by this.

    Raises NotAllowed.
    """
    check_can(by, Verb.RUN_SHOP)
    with writing():
        row, _made = Device.objects.select_for_update().get_or_create(pk=key)
        fields = {"name": name.strip()[:80], "is_shared": is_shared, "mill": mill}
        apply_edit(by=by, at=at, row=row, key=str(key), fields=fields)
    return row


def device_key(text: str) -> uuid.UUID:
    """The key that a device gave itself. Raises Unknown ``unknown_device``."""
    try:
        return uuid.UUID(text)
    except ValueError as error:
        raise Unknown(
            "unknown_device",
            _("This browser keeps no name for itself: leave the private window, or allow site "
              "data for this address, and load the page again."),
        ) from error  # fmt: skip
