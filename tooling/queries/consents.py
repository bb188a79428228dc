"""Whose pieces a job may have: the shop's, its customer's, and those whose owner consents in
writing. One rule for kits, staging, substitutes, pages and the API.

A consent for all of an owner's tooling may be on file with the owner; a letter may consent for
some pieces, until a day; a refusal or withdrawal that names a piece goes before the owner's
general word. What counts is the last day of the job.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _

from tooling.models import ApprovalKind, Job
from tooling.queries.approvals import (
    NO_ANSWERS,
    Answers,
    Owned,
    Stand,
    Standing,
    answers_about,
)
from tooling.queries.bindings import ends_at

ANSWERED_NO = (Stand.REFUSED, Stand.WITHDRAWN)


@dataclass(frozen=True)
class Consents:
    """What owners said of other jobs, about the pieces and bins that were asked for."""

    answers: Answers

    def lets(self, owned: Owned, job: Job) -> bool:
        """Whether the job may have it. Its owner must be loaded."""
        if is_own(owned, job):
            return True
        stands = self._standing(owned, job)
        if stands.is_given:
            return True
        return stands.stand not in ANSWERED_NO and bool(owned.owner.consent_reference)

    def why_not(self, owned: Owned, job: Job) -> str:
        """Why the job may not have it, in a sentence."""
        stands = self._standing(owned, job)
        words = {
            Stand.NONE: _("It belongs to {owner}; no written consent for other jobs is on file."),
            Stand.EXPIRED: _(
                "It belongs to {owner}; the consent {reference} ends on {until}, before job {job} "
                "is over."
            ),
            Stand.WITHDRAWN: _("It belongs to {owner}, who withdrew the consent on {day}."),
            Stand.REFUSED: _("It belongs to {owner}, who refused it for other jobs on {day}."),
        }[stands.stand]
        said = stands.said
        return words.format(
            owner=owned.owner.name,
            job=job.number,
            reference=said.reference if said else "",
            until=said.until if said else "",
            day=said.dated_on if said else "",
        )

    def _standing(self, owned: Owned, job: Job) -> Standing:
        return self.answers.standing(owned, timezone.localdate(ends_at(job)))


NO_CONSENTS = Consents(NO_ANSWERS)


def is_own(owned: Owned, job: Job) -> bool:
    """The shop's own, or the customer's whose job it is. The owner must be loaded."""
    return owned.owner.is_shop or owned.owner_id == job.customer_id


def consents_about(owned: Iterable[Owned], jobs: Collection[Job]) -> Consents:
    """What owners said of these for these jobs. One query, none where every job may have all."""
    foreign = [each for each in owned if any(not is_own(each, job) for job in jobs)]
    return Consents(answers_about(ApprovalKind.OTHER_JOBS, foreign))
