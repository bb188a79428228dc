"""Jobs on their pages: plan a run, change the plan, call it off."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Job, Kit, KitState
from tooling.permissions import Verb
from tooling.services import jobs
from tooling.web.doors import data_of, fill_in, require, signed
from tooling.web.forms.kits import CancelForm, EditJob, JobForm
from tooling.web.rows import get_job
from tooling.web.sessions import person_of


@require_http_methods(["GET", "POST"])
def plan_job(request: HttpRequest) -> HttpResponse:
    require(request, Verb.PLAN_JOBS)
    form = JobForm(data_of(request), strip_unit=person_of(request).strip_unit)

    def save(values: dict[str, Any]) -> Job:
        values["length_nm"] = values.pop("strip_length")
        wanted = {name: value for name, value in values.items() if name not in form.HIDDEN}
        if wanted["customer"] is None:
            del wanted["customer"]
        return jobs.plan(**signed(request), **wanted)

    return fill_in(
        request,
        form,
        template="kits/plan.html",
        save=save,
        done=lambda job: (
            reverse("kits"),
            _("Job {number} is planned. Open its kit when it is to be gathered.").format(
                number=job.number
            ),
        ),
        back=reverse("kits"),
    )


@require_http_methods(["GET", "POST"])
def edit_job(request: HttpRequest, number: str) -> HttpResponse:
    """The plan of one job, to be changed; under it the way to call it off."""
    require(request, Verb.PLAN_JOBS)
    job, kit = _job_and_kit(number)
    form = _form(request, job, kit, data=data_of(request))
    return fill_in(
        request,
        form,
        template="kits/job.html",
        save=lambda values: jobs.edit(**signed(request), job=job, **form.changes()),
        done=lambda saved: (_back(kit), _("Job {number} is changed.").format(number=saved.number)),
        cancel_form=CancelForm(),
        **_around(job, kit),
    )


@require_POST
def cancel_job(request: HttpRequest, number: str) -> HttpResponse:
    """Call the job off; without a reason its page stands there again."""
    require(request, Verb.PLAN_JOBS)
    job, kit = _job_and_kit(number)
    form = CancelForm(request.POST)
    if form.is_valid():
        try:
            jobs.cancel(**signed(request), job=job, reason=form.cleaned_data["reason"])
        except NotAllowed:
            raise
        except ToolingError as error:
            form.refuse(error)
        else:
            messages.success(request, _("Job {number} is called off.").format(number=job.number))
            return redirect("kits")
    context = {"form": _form(request, job, kit, data=None), "cancel_form": form}
    return render(request, "kits/job.html", {**context, **_around(job, kit)}, status=400)


def _job_and_kit(number: str) -> tuple[Job, Kit | None]:
    """The job that an address names, still planned, and its open kit.

    Raises ``unknown_code``, ``job_is_over``.
    """
    job = get_job(number)
    jobs.check_planned(job)
    return job, Kit.objects.filter(job=job).exclude(state=KitState.CLOSED).first()


def _form(request: HttpRequest, job: Job, kit: Kit | None, *, data: Any) -> EditJob:
    strip_unit = person_of(request).strip_unit
    return EditJob(data, job=job, has_kit=kit is not None, strip_unit=strip_unit)


def _back(kit: Kit | None) -> str:
    return reverse("kit", args=[kit.number]) if kit is not None else reverse("kits")


def _around(job: Job, kit: Kit | None) -> dict[str, Any]:
    return {"job": job, "kit": kit, "back": _back(kit)}
