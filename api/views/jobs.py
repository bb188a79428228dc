"""Jobs: the list, one job, planning, changing and calling off."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import JobFilter
from api.paging import Keyset
from api.serializers.kits import CancelJobIn, EditJobIn, JobOut, PlanJobIn
from tooling.models import Job
from tooling.permissions import Verb
from tooling.queries.by_code import mill_of, owner_of, set_of, variant_of
from tooling.queries.jobs import job_of, jobs
from tooling.services import jobs as services


class Jobs(ListDoor):
    """Jobs by number."""

    key = "number"
    verbs = {"POST": Verb.PLAN_JOBS}
    queryset = jobs()
    filter_backends = [DjangoFilterBackend]
    filterset_class = JobFilter
    pagination_class = Keyset

    @extend_schema(responses=JobOut(many=True))
    def get(self, request: Request) -> Response:
        return self.page_of(JobOut)

    @extend_schema(request=PlanJobIn, responses={201: JobOut})
    def post(self, request: Request) -> Response:
        values = _named(given(PlanJobIn, request))
        made = services.plan(by=by(request), at=timezone.now(), **values)
        return answer(JobOut, job_of(made.number), 201)


class OneJob(Door):
    """One job."""

    verbs = {"PATCH": Verb.PLAN_JOBS}

    @extend_schema(responses=JobOut)
    def get(self, request: Request, number: str) -> Response:
        return answer(JobOut, job_of(number))

    @extend_schema(request=EditJobIn, responses=JobOut)
    def patch(self, request: Request, number: str) -> Response:
        job = job_of(number)
        values = _named(given(EditJobIn, request), job)
        services.edit(by=by(request), at=timezone.now(), job=job, **values)
        return answer(JobOut, job_of(job.number))


class CancelJob(Door):
    """Call a job off; its open kit is closed short."""

    verbs = {"POST": Verb.PLAN_JOBS}

    @extend_schema(request=CancelJobIn, responses=JobOut)
    def post(self, request: Request, number: str) -> Response:
        job, values = job_of(number), given(CancelJobIn, request)
        services.cancel(by=by(request), at=timezone.now(), job=job, **values)
        return answer(JobOut, job_of(job.number))


def _named(values: dict[str, Any], job: Job | None = None) -> dict[str, Any]:
    """Set, mill, variant and customer as rows in place of what named them."""
    if "set" in values:
        values["tool_set"] = set_of(values.pop("set"))
    if "mill" in values:
        values["mill"] = mill_of(values["mill"])
    if "customer" in values:
        values["customer"] = owner_of(values["customer"])
    tool_set = values.get("tool_set") or (job.tool_set if job else None)
    if "variant" in values:
        name = values["variant"]
        values["variant"] = variant_of(tool_set, name) if name and tool_set else None
    return values
