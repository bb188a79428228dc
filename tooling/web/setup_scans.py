"""What a person scanned at a station before saying that a shaft is on; kept in the session, so
that another person begins afresh, and forgotten at the next station."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

KEY = "mounting"


def scanned(request: HttpRequest, number: str, station: int) -> dict[str, list[str]]:
    """By shaft what was read there, in order."""
    kept: dict[str, Any] = request.session.get(KEY) or {}
    if (kept.get("setup"), kept.get("station")) != (number, station):
        return {}
    return {shaft: list(codes) for shaft, codes in (kept.get("by_shaft") or {}).items()}


def keep(request: HttpRequest, number: str, station: int, shaft: str, code: str) -> None:
    """One more was scanned for a shaft, and is right there."""
    by_shaft = scanned(request, number, station)
    codes = [*by_shaft.get(shaft, []), code]
    request.session[KEY] = {
        "setup": number,
        "station": station,
        "by_shaft": {**by_shaft, shaft: codes},
    }


def forget(request: HttpRequest, number: str, station: int, shaft: str) -> None:
    """The shaft is said to be on, or what was scanned for it is thrown away."""
    by_shaft = scanned(request, number, station)
    by_shaft.pop(shaft, None)
    request.session[KEY] = {"setup": number, "station": station, "by_shaft": by_shaft}


def codes_for(request: HttpRequest, number: str, station: int, shaft: str) -> list[str]:
    """All that is to be judged when the shaft is said to be on: the station's label, where that
    was scanned to come here, and what was scanned for the shaft."""
    at = request.POST.get("at", "")[:60]
    codes = scanned(request, number, station).get(shaft, [])
    return [at, *codes] if at else codes
