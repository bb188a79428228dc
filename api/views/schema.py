"""The schema: as a page for people, as JSON or YAML for programs."""

from __future__ import annotations

from typing import Any

from django.template.loader import render_to_string
from drf_spectacular.renderers import OpenApiJsonRenderer, OpenApiYamlRenderer
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import IsAuthenticated
from rest_framework.renderers import BaseRenderer, JSONRenderer

from api.schema_page import endpoints


class PlainJson(JSONRenderer):
    """The schema to a program that asks for JSON or takes anything."""

    format = "json"


class PageRenderer(BaseRenderer):
    """The schema as a page in the house's look."""

    media_type = "text/html"
    format = "html"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None
    ) -> str:
        request = (renderer_context or {})["request"]
        if "paths" not in data:
            return render_to_string("problem.html", data, request=request._request)
        context = {"info": data["info"], "groups": endpoints(data)}
        return render_to_string("api/schema.html", context, request=request._request)


@extend_schema(exclude=True)
class Schema(SpectacularAPIView):
    """``Accept`` or ``?format=json|yaml|html`` chooses."""

    permission_classes = [IsAuthenticated]
    renderer_classes = [PlainJson, OpenApiJsonRenderer, PageRenderer, OpenApiYamlRenderer]
