"""The addresses of filling the shafts of a kit."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import kit_fill, make_paper

FILLS: list[URLPattern] = [
    path("kits/<slug:number>/fill/", kit_fill.show_fill, name="kit-fill"),
    path("kits/<slug:number>/fill/part/", kit_fill.fill_part, name="kit-fill-part"),
    path("kits/<slug:number>/fill/make-list/", kit_fill.make_list, name="kit-make-list"),
    path("kits/<slug:number>/make-list.pdf", make_paper.make_list_file, name="kit-make-list-pdf"),
    path("kits/<slug:number>/fill/ask/", kit_fill.ask, name="kit-fill-ask"),
    path("kits/<slug:number>/fill/stop/", kit_fill.stop, name="kit-fill-stop"),
    path("kits/<slug:number>/fill/clear/", kit_fill.clear, name="kit-fill-clear"),
    path("kits/<slug:number>/fill/not-there/", kit_fill.not_there, name="kit-fill-not-there"),
    path("kits/<slug:number>/fill/pin/", kit_fill.pin, name="kit-fill-pin"),
    path("kits/<slug:number>/fill/swap/", kit_fill.swap, name="kit-fill-swap"),
    path("kits/<slug:number>/fill/by-hand/", kit_fill.by_hand, name="kit-fill-by-hand"),
]
