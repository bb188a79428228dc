"""The addresses of orders for new tooling. An order's number may hold anything, so whatever begins
with it comes last."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import purchases, receiving

PURCHASES: list[URLPattern] = [
    path("pieces/orders/", purchases.show_purchases, name="purchases"),
    path("pieces/orders/new/", purchases.new_purchase, name="purchase-new"),
    path("pieces/orders/receipts/<int:receipt>/", receiving.show_receipt, name="receipt"),
    path(
        "pieces/orders/receipts/<int:receipt>/take-back/",
        receiving.take_back,
        name="receipt-take-back",
    ),
    path(
        "pieces/orders/receipts/<int:receipt>/certificate/",
        receiving.certificate,
        name="receipt-certificate",
    ),
    path(
        "pieces/orders/receipts/<int:receipt>/inspect/", receiving.inspect, name="receipt-inspect"
    ),
    path(
        "pieces/orders/receipts/<int:receipt>/check/<slug:dimension>/",
        receiving.check,
        name="receipt-check",
    ),
    path("pieces/orders/<path:number>/edit/", purchases.edit_purchase, name="purchase-edit"),
    path("pieces/orders/<path:number>/line/", purchases.save_line, name="purchase-line"),
    path(
        "pieces/orders/<path:number>/lines/<int:line>/remove/",
        purchases.remove_line,
        name="purchase-line-remove",
    ),
    path(
        "pieces/orders/<path:number>/lines/<int:line>/receive/",
        receiving.receive,
        name="purchase-receive",
    ),
    path("pieces/orders/<path:number>/close/", purchases.close, name="purchase-close"),
    path("pieces/orders/<path:number>/reopen/", purchases.reopen, name="purchase-reopen"),
    path("pieces/orders/<path:number>/", purchases.show_purchase, name="purchase"),
]
