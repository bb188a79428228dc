"""Addresses of orders for work on pieces under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from api.views import regrind_orders as orders

REGRIND_ORDERS = [
    path("regrind-orders/", orders.RegrindOrders.as_view(), name="api-regrind-orders"),
    path("regrind-lead-times/", orders.LeadTimes.as_view(), name="api-lead-times"),
    path(
        "regrind-orders/<str:number>/", orders.OneRegrindOrder.as_view(), name="api-regrind-order"
    ),
    path(
        "regrind-orders/<str:number>/lines/",
        orders.RegrindOrderLines.as_view(),
        name="api-regrind-order-lines",
    ),
    path(
        "regrind-orders/<str:number>/lines/<str:code>/",
        orders.OneRegrindOrderLine.as_view(),
        name="api-regrind-order-line",
    ),
    path(
        "regrind-orders/<str:number>/send/",
        orders.SendRegrindOrder.as_view(),
        name="api-regrind-order-send",
    ),
    path(
        "regrind-orders/<str:number>/back/",
        orders.BackFromWork.as_view(),
        name="api-regrind-order-back",
    ),
    path(
        "regrind-orders/<str:number>/marks/",
        orders.OrderMarks.as_view(),
        name="api-regrind-order-marks",
    ),
    path(
        "regrind-orders/<str:number>/release/",
        orders.ReleaseRegrindOrder.as_view(),
        name="api-regrind-order-release",
    ),
    path(
        "regrind-orders/<str:number>/for-job/",
        orders.ReleaseForJob.as_view(),
        name="api-regrind-order-for-job",
    ),
    path(
        "regrind-orders/<str:number>/drop/",
        orders.DropRegrindOrder.as_view(),
        name="api-regrind-order-drop",
    ),
]
