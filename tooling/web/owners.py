"""Owners: the list, one owner's tooling, and whose pieces are."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from tooling.models import Owner
from tooling.permissions import Verb
from tooling.queries.dormant import dormant_list
from tooling.queries.owner_reports import report_list
from tooling.queries.owner_values import insured_page
from tooling.queries.owner_waiting import waiting
from tooling.queries.owners import find_owner, owner_list, owner_page
from tooling.services import owners
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.owners import ChangeOwnerForm
from tooling.web.forms.shop import OwnerForm

OWNER_FIELDS = ("code", "name", "is_shop", "contact", "consent_reference", "insurance_reference")


@require_GET
def show_owners(request: HttpRequest) -> HttpResponse:
    """Whose tooling lies here, and what is open with whom."""
    context = {"owners": owner_list(at=timezone.now()), **rights(request)}
    return render(request, "owners/list.html", context)


@require_GET
def show_owner(request: HttpRequest, code: str) -> HttpResponse:
    """ "Show me my tooling": everything of an owner's, as of now."""
    number = request.GET.get("page", "1")
    page = int(number) if number.isdecimal() and len(number) < 7 else 1
    owner = owner_page(code, at=timezone.now(), page=page)
    return render(request, "owners/owner.html", {"owner": owner, **rights(request)})


@require_http_methods(["GET", "POST"])
def new_owner(request: HttpRequest) -> HttpResponse:
    require(request, Verb.RUN_SHOP)
    return fill_in(
        request,
        OwnerForm(data_of(request)),
        template="shop/form.html",
        save=lambda values: owners.create_owner(**signed(request), **values),
        done=lambda row: (reverse("owners"), _("{name} is an owner now.").format(name=row.name)),
        head=_("New owner"),
        back=reverse("owners"),
    )


@require_http_methods(["GET", "POST"])
def edit_owner(request: HttpRequest, code: str) -> HttpResponse:
    require(request, Verb.RUN_SHOP)
    owner = find_owner(code)
    form = OwnerForm(data_of(request), initial={n: getattr(owner, n) for n in OWNER_FIELDS})
    del form.fields["code"]
    return fill_in(
        request,
        form,
        template="shop/form.html",
        save=lambda values: owners.edit_owner(**signed(request), owner=owner, **values),
        done=lambda row: (owner_url(owner), _("Saved.")),
        head=owner.name,
        back=owner_url(owner),
    )


@require_http_methods(["GET", "POST"])
def take_over(request: HttpRequest, code: str) -> HttpResponse:
    """Pieces that become this owner's, each with the reason on record."""
    require(request, Verb.EDIT_RECORDS)
    owner = find_owner(code)
    initial = {"pieces": request.GET.get("pieces", "")}

    def done(count: int) -> tuple[str, str]:
        words = ngettext("{n} piece changed hands.", "{n} pieces changed hands.", count)
        return owner_url(owner), words.format(n=count)

    return fill_in(
        request,
        ChangeOwnerForm(data_of(request), initial=initial),
        template="owners/form.html",
        save=lambda values: owners.change_owner(**signed(request), owner=owner, **values),
        done=done,
        head=_("Give pieces to {owner}").format(owner=owner.name),
        said=_("They are this owner's from now on. What the owner before allowed counts no more."),
        save_word=_("Change hands"),
        back=owner_url(owner),
    )


@require_GET
def show_waiting(request: HttpRequest) -> HttpResponse:
    """Questions that no owner has answered, the longest first."""
    context = {"rows": waiting(at=timezone.now()), **rights(request)}
    return render(request, "owners/waiting.html", context)


@require_GET
def show_reports(request: HttpRequest) -> HttpResponse:
    """Reports to owners; those that nobody was told of first asked for with ``?open=1``."""
    before, only_open = request.GET.get("before", ""), bool(request.GET.get("open"))
    last = int(before) if before.isdecimal() and len(before) < 19 else None
    owner = request.GET.get("owner", "")
    found = report_list(owner=owner, only_open=only_open, before=last)
    context = {"reports": found, "only_open": only_open, "owner": owner, **rights(request)}
    return render(request, "owners/reports.html", context)


@require_GET
def show_insured(request: HttpRequest) -> HttpResponse:
    """What tooling is worth, by owner and by place; ``?owner=`` for one owner."""
    page = insured_page(_chosen(request))
    return render(request, "owners/insured.html", {"page": page, **rights(request)})


@require_GET
def show_dormant(request: HttpRequest) -> HttpResponse:
    """Tooling that lies still; ``?owner=`` for one owner."""
    owner = _chosen(request)
    after = request.GET.get("after", "")
    found = dormant_list(at=timezone.now(), owner=owner, after=after)
    context: dict[str, Any] = {"found": found, "owner": owner, **rights(request)}
    return render(request, "owners/dormant.html", context)


def _chosen(request: HttpRequest) -> Owner | None:
    code = request.GET.get("owner", "")
    return find_owner(code) if code else None


def owner_url(owner: Owner) -> str:
    return reverse("owner", args=[owner.code])
