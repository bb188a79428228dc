"""The addresses of keeping: what is out, handing out, where things belong, putting away."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import hand_out, homes, loans, put_away

KEEPING: list[URLPattern] = [
    path("pieces/out/", loans.show_loans, name="loans"),
    path("pieces/out/out.csv", loans.loans_csv, name="loans-csv"),
    path("pieces/out/slip.pdf", loans.slip_file, name="loan-slip"),
    path("pieces/out/due/", loans.set_due, name="loans-due"),
    path("pieces/out/due/undo/", loans.undo_due, name="loans-due-undo"),
    path("pieces/out/undo/", loans.undo_hand_out, name="loans-undo"),
    path("pieces/out/hand/", hand_out.show_hand_out, name="hand-out"),
    path("pieces/out/hand/add/", hand_out.add, name="hand-out-add"),
    path("pieces/out/hand/send/", hand_out.send, name="hand-out-send"),
    path("pieces/homes/undo/", homes.take_back, name="homes-undo"),
    path("pieces/<slug:code>/home/", homes.piece_home, name="piece-home"),
    path("shop/places/<slug:code>/home/", homes.cart_home, name="cart-home"),
    path("shop/places/<slug:code>/belongs-here/", homes.belongs_here, name="belongs-here"),
    path(
        "sets/<path:number>/copies/<int:copy>/belongs-here/",
        homes.copy_belongs_here,
        name="copy-belongs-here",
    ),
    path("scan/put-away/", put_away.choose, name="put-away"),
    path("scan/put-away/<slug:code>/", put_away.show, name="put-away-from"),
    path("scan/put-away/<slug:code>/walk/", put_away.walk, name="put-away-walk"),
    path("scan/put-away/<slug:code>/stop/", put_away.put_stop, name="put-away-stop"),
    path("scan/put-away/<slug:code>/undo/", put_away.undo_stop, name="put-away-undo"),
]
