"""A mill's checks and rules, and what stands on the mills, polled."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import MillRule
from tooling.permissions import Verb
from tooling.queries.mill_care import mill_care
from tooling.queries.on_mill import mills_token
from tooling.queries.setups import find_setup
from tooling.services import mill_care as services
from tooling.web.doors import data_of, require, rights, signed
from tooling.web.forms.fields import RecordForm, day
from tooling.web.mill_live import live_context, mills_context
from tooling.web.rows import get_mill, get_row


class CheckForm(RecordForm):
    """One check of many stations."""

    what = forms.ChoiceField(
        label=gettext_lazy("What was done"), choices=list(services.CHECKS.items())
    )
    on = day(label=gettext_lazy("On"))


class RuleForm(RecordForm):
    """A rule for the order of jobs."""

    kind = forms.ChoiceField(label=gettext_lazy("Rule"), choices=MillRule.Kind.choices)
    first = forms.CharField(
        label=gettext_lazy("Which strip"), required=False, max_length=40,
        help_text=gettext_lazy("Its class or coating as jobs carry it, such as painted."),
    )  # fmt: skip
    then = forms.CharField(
        label=gettext_lazy("Never straight after it"), required=False, max_length=40,
        help_text=gettext_lazy("Only for the rule “never straight after”."),
    )  # fmt: skip


@require_http_methods(["GET", "POST"])
def care(request: HttpRequest, number: str) -> HttpResponse:
    """Every station's checks; POST writes one check down for the chosen stations."""
    if request.method == "POST":
        require(request, Verb.EDIT_RECORDS)
    mill = get_mill(number)
    form = CheckForm(data_of(request), initial={"on": timezone.localdate()})
    chosen = [int(each) for each in request.POST.getlist("station") if each.isdecimal()]
    if request.method == "POST" and form.is_valid():
        try:
            n = services.note_check(**signed(request), mill=mill, stations=chosen,
                                    **form.cleaned_data)  # fmt: skip
        except NotAllowed:
            raise
        except ToolingError as error:
            form.refuse(error)
        else:
            said = ngettext("{n} record is changed.", "{n} records are changed.", n)
            messages.success(request, said.format(n=n))
            return redirect("mill-care", mill.number)
    page = mill_care(mill, today=timezone.localdate())
    if request.method == "GET":
        chosen = [each.number for each in page.stations]
    bad = form.is_bound and not form.is_valid()
    context = {"form": form, "page": page, "chosen": chosen, **rights(request)}
    return render(request, "mills/care.html", context, status=400 if bad else 200)


@require_POST
def zeroed(request: HttpRequest, number: str) -> HttpResponse:
    """The screws of the ticked stations read from a new zero; ``take_back``: they do not."""
    mill = get_mill(number)
    stations = [int(each) for each in request.POST.getlist("station") if each.isdecimal()]
    way = {**signed(request), "mill": mill, "stations": stations}
    if "take_back" in request.POST:
        n = services.take_zero_back(**way)
        said = ngettext("The zero of {n} station is what it was.",
                        "The zeros of {n} stations are what they were.", n)  # fmt: skip
    else:
        n = services.zero_screws(**way)
        said = ngettext("Screws zeroed at {n} station: older positions are struck out.",
                        "Screws zeroed at {n} stations: older positions are struck out.",
                        n)  # fmt: skip
    messages.success(request, said.format(n=n))
    setup = request.POST.get("setup", "")
    if setup and len(stations) == 1:
        return redirect("setup-gaps", find_setup(setup).kit.number, stations[0])
    return redirect("mill-care", mill.number)


@require_http_methods(["GET", "POST"])
def rules(request: HttpRequest, number: str) -> HttpResponse:
    """A mill's rules for the order of jobs; POST adds one."""
    mill = get_mill(number)
    form = RuleForm(data_of(request))
    if request.method == "POST":
        require(request, Verb.PLAN_JOBS)
    if request.method == "POST" and form.is_valid():
        try:
            services.add_rule(**signed(request), mill=mill, **form.cleaned_data)
        except NotAllowed:
            raise
        except ToolingError as error:
            form.refuse(error)
        else:
            messages.success(request, _("The rule holds for the next order of jobs."))
            return redirect("mill-rules", mill.number)
    bad = form.is_bound and not form.is_valid()
    rows = MillRule.objects.filter(mill=mill)
    context = {"form": form, "mill": mill, "rules": rows, **rights(request)}
    return render(request, "mills/rules.html", context, status=400 if bad else 200)


@require_POST
def remove_rule(request: HttpRequest, number: str, rule: int) -> HttpResponse:
    require(request, Verb.PLAN_JOBS)
    mill = get_mill(number)
    row: Any = get_row(MillRule.objects.filter(mill=mill), said=str(rule), pk=rule)
    services.remove_rule(**signed(request), rule=row)
    messages.success(request, _("The rule holds no longer."))
    return redirect("mill-rules", mill.number)


@require_GET
def all_live(request: HttpRequest) -> HttpResponse:
    """All mills; 204 while the screen has what stands there."""
    token = mills_token()
    if request.GET.get("v") == token:
        return HttpResponse(status=204)
    return render(request, "mills/all_live.html", mills_context(token))


@require_GET
def one_live(request: HttpRequest, number: str) -> HttpResponse:
    """One mill; 204 while the screen has what stands there."""
    mill = get_mill(number)
    token = mills_token([mill.number])
    if request.GET.get("v") == token:
        return HttpResponse(status=204)
    return render(request, "mills/live.html", live_context(mill.number, token))
