"""Jobs as lists and programs see them."""

from __future__ import annotations

from django.db.models import OuterRef, QuerySet, Subquery
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Job, Kit, KitState


def jobs() -> QuerySet[Job]:
    """Every job with what it names and the number of its open kit as ``open_kit``."""
    kits = Kit.objects.filter(job=OuterRef("pk")).exclude(state=KitState.CLOSED)
    rows = Job.objects.select_related("tool_set", "variant", "mill", "customer")
    return rows.annotate(open_kit=Subquery(kits.values("number")[:1]))


def job_of(number: str) -> Job:
    """By number. Raises Unknown ``unknown_job``."""
    asked = number.replace("\x00", "").strip()
    found = jobs().filter(number__iexact=asked).first()
    if found is None:
        raise Unknown("unknown_job", _("There is no job {number}."), number=asked[:60])
    return found
