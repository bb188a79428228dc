"""The addresses of changeovers under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, path

from api.views import changeovers, setup_times

DOWN = "setups/<str:number>/strip-down/"

CHANGEOVERS: list[URLPattern] = [
    path("changeovers/", changeovers.Changeovers.as_view(), name="api-changeovers"),
    path("changeovers/order/", changeovers.AskOrder.as_view(), name="api-order"),
    path("changeovers/accept/", changeovers.AcceptOrder.as_view(), name="api-order-accept"),
    path("changeovers/keep/", changeovers.KeepOrder.as_view(), name="api-order-keep"),
    path("mills/<path:number>/on-it/", changeovers.OnIt.as_view(), name="api-on-mill"),
    path("mills/<path:number>/checks/", changeovers.Checks.as_view(), name="api-mill-checks"),
    path("mills/<path:number>/zeroed/", changeovers.Zeroed.as_view(), name="api-mill-zeroed"),
    path("mills/<path:number>/rules/", changeovers.Rules.as_view(), name="api-mill-rules"),
    path(
        "mills/<path:number>/rules/<int:rule>/",
        changeovers.OneRule.as_view(),
        name="api-mill-rule",
    ),
    path("setups/<str:number>/steps/", setup_times.Steps.as_view(), name="api-setup-steps"),
    path(
        "setups/<str:number>/steps/<int:row>/",
        setup_times.OneStep.as_view(),
        name="api-setup-step",
    ),
    path("setups/<str:number>/delays/", setup_times.Delays.as_view(), name="api-setup-delays"),
    path(
        "setups/<str:number>/delays/<int:row>/",
        setup_times.OneDelay.as_view(),
        name="api-setup-delay",
    ),
    path(DOWN, setup_times.StripDown.as_view(), name="api-strip-down"),
    path(DOWN + "off/", setup_times.TakeOff.as_view(), name="api-strip-off"),
    path(DOWN + "spacers/", setup_times.CountsBack.as_view(), name="api-strip-spacers"),
    path(DOWN + "undo/", setup_times.TakeBack.as_view(), name="api-strip-undo"),
    path(DOWN + "clean/", setup_times.LookOver.as_view(), name="api-strip-clean"),
    path(DOWN + "flag/", setup_times.Flag.as_view(), name="api-strip-flag"),
    path(DOWN + "strike/", setup_times.Strike.as_view(), name="api-strip-strike"),
]
