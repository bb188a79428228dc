"""What a poll is answered with once the page has more to show than the part that polled."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def show_whole(request: HttpRequest, url: str, said: str) -> HttpResponse:
    """What asks for the page at ``url`` once and puts it in the place of the one on the
    screen. ``said``: the link that stands there until it came, or when it does not come.

    Not a reload: the page goes on polling until its answer is there, and each poll would ask for
    the reload again, so a page that takes longer than the poll never came.
    """
    return render(request, "parts/show_whole.html", {"url": url, "said": said})
