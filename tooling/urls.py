"""Every address of the house."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path, register_converter

from tooling.web import (
    badges,
    import_tasks,
    imports,
    label_sites,
    labels,
    offline,
    scan,
    sessions,
    stock_hand,
)
from tooling.web.converters import ShaftConverter

register_converter(ShaftConverter, "shaft")

urlpatterns: list[URLPattern | URLResolver] = [
    path("api/v1/", include("api.urls")),
    path("healthz", sessions.healthz, name="healthz"),
    path("login/", sessions.Login.as_view(), name="login"),
    path("login/badge/", badges.log_in, name="badge-log-in"),
    path("logout/", sessions.Logout.as_view(), name="logout"),
    path("sw.js", offline.service_worker, name="service-worker"),
    path("manifest.webmanifest", offline.manifest, name="manifest"),
    path("scan/", scan.show_scan, name="scan"),
    path("scan/shell/", offline.shell, name="scan-shell"),
    path("scan/known/", offline.show_known, name="scan-known"),
    path("scan/session/", offline.session, name="scan-session"),
    path("scan/read/", scan.read, name="scan-read"),
    path("scan/stop/", scan.about, {"act": "stop"}, name="scan-stop"),
    path("scan/condition/", scan.about, {"act": "condition"}, name="scan-condition"),
    path("scan/enter/", scan.enter, name="scan-enter"),
    path("scan/bin/", stock_hand.panel, name="scan-bin"),
    path("scan/tick/", scan.tick, name="scan-tick"),
    path("scan/unfold/", scan.unfold, name="scan-unfold"),
    path("scan/undo/", scan.undo, name="scan-undo"),
    path("scan/leave/", scan.leave, name="scan-leave"),
    path("labels/", labels.show_labels, name="labels"),
    path("labels/print/", labels.send_to_printer, name="labels-print"),
    path("labels/void/", labels.make_void, name="labels-void"),
    path("labels/where/", label_sites.show_sites, name="labels-where"),
    path("labels/etching.svg", label_sites.etching, name="labels-etching"),
    path("labels/<int:number>/", labels.show_task, name="labels-task"),
    path("labels/<int:number>/stop/", labels.stop_task, name="labels-task-stop"),
    path("labels/<int:number>.pdf", labels.task_pdf, name="labels-task-pdf"),
    path("labels.pdf", labels.labels_pdf, name="labels-pdf"),
    path("shop/spreadsheets/", imports.show_imports, name="imports"),
    path("shop/spreadsheets/bring/", imports.bring, name="imports-bring"),
    path("shop/spreadsheets/<int:number>/", imports.show_import, name="import"),
    path("shop/spreadsheets/<int:number>/columns/", imports.map_columns, name="import-map"),
    path("shop/spreadsheets/<int:number>/apply/", imports.apply, name="import-apply"),
    path("shop/spreadsheets/<int:number>/put-away/", imports.drop, name="import-drop"),
    path("shop/spreadsheets/<int:number>/work/", import_tasks.show_task, name="import-task"),
    path("shop/spreadsheets/<int:number>/stop/", import_tasks.stop, name="import-stop"),
    path(
        "shop/spreadsheets/<int:number>/problems.csv",
        import_tasks.take_problems,
        name="import-problems",
    ),
    path(
        "shop/spreadsheets/<int:number>/files/<int:key>/",
        import_tasks.take_file,
        name="import-file",
    ),
    path("shop/spreadsheets/empty/<slug:kind>.xlsx", imports.template, name="import-template"),
    path("shop/spreadsheets/rollroom.xlsx", imports.export_workbook, name="export-workbook"),
    path("shop/spreadsheets/<slug:kind>.csv", imports.export_csv, name="export-csv"),
    path("", include("tooling.web.addresses")),
]
