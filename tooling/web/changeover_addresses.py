"""The addresses of changeovers: what stands on mills, times, the next job, striking down."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import changeovers, mill_care, setup_times, strip_down

CHANGEOVERS: list[URLPattern] = [
    path("changeovers/", changeovers.show, name="changeovers"),
    path("changeovers/order/", changeovers.order_part, name="order-part"),
    path("changeovers/order/ask/", changeovers.ask, name="order-ask"),
    path("changeovers/order/stop/", changeovers.stop, name="order-stop"),
    path("changeovers/order/accept/", changeovers.accept, name="order-accept"),
    path("changeovers/order/keep/", changeovers.keep, name="order-keep"),
    path("mills/live/", mill_care.all_live, name="mills-live"),
    path("mills/<path:number>/live/", mill_care.one_live, name="mill-live"),
    path("mills/<path:number>/care/", mill_care.care, name="mill-care"),
    path("mills/<path:number>/zeroed/", mill_care.zeroed, name="mill-zeroed"),
    path("mills/<path:number>/rules/", mill_care.rules, name="mill-rules"),
    path(
        "mills/<path:number>/rules/<int:rule>/remove/",
        mill_care.remove_rule,
        name="mill-rule-remove",
    ),
    path("setups/<slug:number>/times/", setup_times.show, name="setup-times"),
    path("setups/<slug:number>/times/step/", setup_times.step, name="setup-step"),
    path(
        "setups/<slug:number>/times/steps/<int:row>/undo/",
        setup_times.undo_step,
        name="setup-step-undo",
    ),
    path("setups/<slug:number>/times/delay/", setup_times.delay, name="setup-delay"),
    path(
        "setups/<slug:number>/times/delays/<int:row>/undo/",
        setup_times.undo_delay,
        name="setup-delay-undo",
    ),
    path("setups/<slug:number>/strip-down/", strip_down.show, name="strip-down"),
    path("setups/<slug:number>/strip-down/off/", strip_down.take_off, name="strip-off"),
    path("setups/<slug:number>/strip-down/spacers/", strip_down.spacers, name="strip-spacers"),
    path("setups/<slug:number>/strip-down/undo/", strip_down.undo, name="strip-undo"),
    path("setups/<slug:number>/strip-down/clean/", strip_down.clean, name="strip-clean"),
    path(
        "setups/<slug:number>/strip-down/clean/undo/",
        strip_down.not_clean,
        name="strip-clean-undo",
    ),
    path("setups/<slug:number>/strip-down/flag/", strip_down.flag, name="strip-flag"),
    path("setups/<slug:number>/strip-down/strike/", strip_down.strike, name="strip-strike"),
]
