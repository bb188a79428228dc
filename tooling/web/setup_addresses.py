"""The addresses of setups."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import setup_acts, setup_numbers, setups

STATION = "setups/<slug:number>/stations/<int:station>/"

SETUPS: list[URLPattern] = [
    path("setups/", setups.show_setups, name="setups"),
    path("setups/<slug:number>/", setups.show_setup, name="setup"),
    path("setups/<slug:number>/start/", setup_acts.start, name="setup-start"),
    path("setups/<slug:number>/live/", setups.show_live, name="setup-live"),
    path("setups/<slug:number>/scan/", setup_acts.scan, name="setup-scan"),
    path("setups/<slug:number>/dock/", setup_acts.dock, name="setup-dock"),
    path("setups/<slug:number>/good/", setup_acts.good, name="setup-good"),
    path("setups/<slug:number>/prove/", setup_acts.prove, name="setup-prove"),
    path("setups/<slug:number>/checks/", setup_numbers.checks, name="setup-checks"),
    path("setups/<slug:number>/handover/", setup_acts.hand_over, name="setup-handover"),
    path("setups/<slug:number>/handover/undo/", setup_acts.hand_back, name="setup-hand-back"),
    path("setups/<slug:number>/against/<slug:other>/", setups.show_against, name="setup-against"),
    path("setups/<slug:number>/strip/", setup_numbers.strip, name="setup-strip"),
    path("setups/<slug:number>/strip/undo/", setup_numbers.strip_back, name="setup-strip-back"),
    path(STATION, setups.show_station, name="setup-station"),
    path(STATION + "live/", setups.show_station_live, name="setup-station-live"),
    path(STATION + "gaps/", setup_numbers.gaps, name="setup-gaps"),
    path(STATION + "gaps/undo/", setup_numbers.gaps_back, name="setup-gaps-back"),
    path(STATION + "<slug:which>/mount/", setup_acts.mount, name="setup-mount"),
    path(STATION + "<slug:which>/undo/", setup_acts.take_back, name="setup-take-back"),
    path(STATION + "<slug:which>/without/", setup_acts.without, name="setup-without"),
]
