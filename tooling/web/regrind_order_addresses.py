"""The addresses of orders for work on pieces."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import regrind_order_acts as acts
from tooling.web import regrind_orders as orders

REGRIND_ORDERS: list[URLPattern] = [
    path("regrinds/orders/", orders.show_orders, name="regrind-orders"),
    path("regrinds/orders/new/", orders.new_order, name="regrind-order-new"),
    path("regrinds/orders/<slug:number>/", orders.show_order, name="regrind-order"),
    path("regrinds/orders/<slug:number>/edit/", orders.edit_order, name="regrind-order-edit"),
    path("regrinds/orders/<slug:number>/piece/", orders.add_piece, name="regrind-order-add"),
    path(
        "regrinds/orders/<slug:number>/packing-list.pdf",
        orders.packing_list,
        name="packing-list",
    ),
    path(
        "regrinds/orders/<slug:number>/pieces/<slug:code>/",
        orders.change_line,
        name="regrind-order-line",
    ),
    path(
        "regrinds/orders/<slug:number>/pieces/<slug:code>/remove/",
        orders.remove_line,
        name="regrind-order-remove",
    ),
    path(
        "regrinds/orders/<slug:number>/pieces/<slug:code>/measure/",
        acts.measure,
        name="regrind-order-measure",
    ),
    path("regrinds/orders/<slug:number>/send/", acts.send, name="regrind-order-send"),
    path("regrinds/orders/<slug:number>/back/", acts.take_back, name="regrind-order-back"),
    path("regrinds/orders/<slug:number>/marks/", acts.see_mark, name="regrind-order-marks"),
    path("regrinds/orders/<slug:number>/judged/", acts.show_release, name="regrind-order-judged"),
    path("regrinds/orders/<slug:number>/release/", acts.release, name="regrind-order-release"),
    path(
        "regrinds/orders/<slug:number>/for-job/",
        acts.release_for_job,
        name="regrind-order-for-job",
    ),
    path("regrinds/orders/<slug:number>/drop/", acts.drop, name="regrind-order-drop"),
]
