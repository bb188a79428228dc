"""What every door of records does: show a form, save through one service, say what was done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from tooling.errors import NotAllowed, ToolingError
from tooling.permissions import Verb, can, check_can
from tooling.web.forms.fields import RecordForm
from tooling.web.sessions import person_of

Save = Callable[[dict[str, Any]], Any]


def fill_in(
    request: HttpRequest,
    form: RecordForm,
    *,
    template: str,
    save: Save,
    done: Callable[[Any], tuple[str, str]],
    **context: Any,
) -> HttpResponse:
    """GET shows the form. POST saves and goes where ``done`` says, with its sentence; a refusal
    shows the form again with all that was typed."""
    if request.method == "POST" and form.is_valid():
        try:
            saved = save(form.cleaned_data)
        except NotAllowed:
            raise
        except ToolingError as error:
            form.refuse(error)
        else:
            url, sentence = done(saved)
            messages.success(request, sentence)
            return redirect(url)
    status = 400 if form.is_bound and not form.is_valid() else 200
    return render(request, template, {"form": form, **context}, status=status)


def go_on(request: HttpRequest, url: str) -> HttpResponse:
    """To the next page; to a script that keeps sending until it is heard, only its address."""
    if "X-Next-Page" not in request.headers:
        return redirect(url)
    return HttpResponse(headers={"X-Next-Page": url})


def data_of(request: HttpRequest) -> Any:
    """What a form is bound to: the posted fields, or nothing on GET."""
    return request.POST if request.method == "POST" else None


def signed(request: HttpRequest) -> dict[str, Any]:
    """Who does it and when: the two keywords that every service takes."""
    return {"by": person_of(request), "at": timezone.now()}


def rights(request: HttpRequest) -> dict[str, bool]:
    """What the pages of records offer to this person."""
    return {f"may_{verb.name.lower()}": can(request.user, verb) for verb in Verb}


def require(request: HttpRequest, verb: Verb) -> None:
    """A form that the person could not send is not shown either."""
    check_can(request.user, verb)
