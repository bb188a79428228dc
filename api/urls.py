"""Every address under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from api.views import imports, scans

urlpatterns: list[URLPattern | URLResolver] = [
    path("scans/", scans.record, name="api-scans"),
    path("imports/", imports.Imports.as_view(), name="api-imports"),
    path("imports/<int:number>/", imports.OneImport.as_view(), name="api-import"),
    path("imports/<int:number>/apply/", imports.ApplyImport.as_view(), name="api-import-apply"),
    path("tasks/<int:number>/", imports.OneTask.as_view(), name="api-task"),
]
