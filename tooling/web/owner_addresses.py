"""The addresses of owners: their tooling, what they are asked and told, what it is worth.

An owner's code may hold anything, so whatever begins with it comes last.
"""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import owner_acts, owner_papers, owners

OWNERS: list[URLPattern] = [
    path("shop/owners/", owners.show_owners, name="owners"),
    path("shop/owners/new/", owners.new_owner, name="owner-new"),
    path("shop/owners/waiting/", owners.show_waiting, name="owners-waiting"),
    path("shop/owners/reports/", owners.show_reports, name="owner-reports"),
    path("shop/owners/reports/new/", owner_acts.new_report, name="owner-report-new"),
    path("shop/owners/reports/<int:number>/", owner_acts.show_report, name="owner-report"),
    path("shop/owners/reports/<int:number>/note/", owner_acts.add_note, name="owner-report-note"),
    path("shop/owners/letters/<int:number>/", owner_acts.letter, name="owner-letter"),
    path("shop/owners/insured/", owners.show_insured, name="insured"),
    path("shop/owners/insured.pdf", owner_papers.insured_pdf, name="insured-pdf"),
    path("shop/owners/insured.csv", owner_papers.insured_csv, name="insured-csv"),
    path("shop/owners/dormant/", owners.show_dormant, name="dormant"),
    path("shop/owners/registers/<int:number>/", owner_papers.show_task, name="register-task"),
    path(
        "shop/owners/registers/<int:number>/stop/",
        owner_papers.stop_task,
        name="register-task-stop",
    ),
    path("shop/owners/registers/<int:number>.pdf", owner_papers.task_pdf, name="register-task-pdf"),
    path("shop/owners/<path:code>/edit/", owners.edit_owner, name="owner-edit"),
    path("shop/owners/<path:code>/ask/", owner_acts.new_approval, name="approval-new"),
    path("shop/owners/<path:code>/pieces/", owners.take_over, name="owner-take-over"),
    path("shop/owners/<path:code>/marks/", owner_acts.show_marks, name="owner-marks"),
    path("shop/owners/<path:code>/register/", owner_papers.draw_register, name="register"),
    path("shop/owners/<path:code>/register.pdf", owner_papers.register_pdf, name="register-pdf"),
    path("shop/owners/<path:code>/", owners.show_owner, name="owner"),
    path("pieces/<slug:code>/owner-mark/", owner_acts.look_for_mark, name="owner-mark"),
]
