"""What passes with owners: questions and answers, reports, what became of them."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import FormParser, JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, confirm, given
from api.paging import Keyset, paged
from api.serializers.owner_acts import (
    ApprovalIn,
    ApprovalOut,
    ApprovalsAsked,
    NoteIn,
    QuestionOut,
    ReportDetailOut,
    ReportIn,
    ReportOut,
    ReportsAsked,
)
from api.serializers.owners import OwnerAsked
from tooling.errors import Unknown
from tooling.models import Answer, Approval, Owner, OwnerReport, Piece
from tooling.permissions import Verb
from tooling.queries.by_code import copy_of, owner_of, piece_of, set_of, stock_of
from tooling.queries.owner_reports import report_list, report_page
from tooling.queries.owner_waiting import waiting
from tooling.queries.owners import answer_rows
from tooling.services import approvals, files, owner_reports

SIZE = 100


class Approvals(Door):
    """What an owner was asked and answered, the newest first."""

    verbs = {"POST": Verb.DEAL_WITH_OWNERS}
    pagination_class = Keyset
    parser_classes = [JSONParser, MultiPartParser, FormParser]

    @extend_schema(parameters=[ApprovalsAsked], responses=ApprovalOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        asked = _asked(ApprovalsAsked, request)
        before = asked.pop("after")
        rows = answer_rows(owner=owner_of(code).code, before=before, size=SIZE + 1, **asked)
        after = str(rows[SIZE - 1].id) if len(rows) > SIZE else ""
        return paged(request, ApprovalOut(rows[:SIZE], many=True).data, after)

    @extend_schema(request=ApprovalIn, responses={201: ApprovalOut})
    def post(self, request: Request, code: str) -> Response:
        """Write down that the owner was asked, or the answer."""
        owner, values = owner_of(code), given(ApprovalIn, request)
        values["pieces"] = _pieces(owner, values)
        if values["answer"] != Answer.ASKED:
            confirm(request)
        made = approvals.record_approval(by=by(request), at=timezone.now(), owner=owner, **values)
        (row,) = answer_rows(owner=owner.code, before=made.pk + 1, size=1)
        return answer(ApprovalOut, row, 201)


class Letter(Door):
    """The letter beside a question or an answer."""

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def get(self, request: Request, number: int) -> FileResponse:
        row = Approval.objects.select_related("file").filter(pk=number).first()
        if row is None or row.file is None:
            raise Unknown("unknown_letter", _("There is no letter {number}."), number=number)
        response = FileResponse(
            files.open_file(row.file), as_attachment=True, filename=row.file_name or "letter",
            content_type=row.file.content_type,
        )  # fmt: skip
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response


class Questions(Door):
    """Questions that no owner has answered, the longest first."""

    @extend_schema(parameters=[OwnerAsked], responses=QuestionOut(many=True))
    def get(self, request: Request) -> Response:
        asked = _asked(OwnerAsked, request)
        rows = waiting(at=timezone.now(), owner=asked["owner"].upper())
        return Response(QuestionOut(rows, many=True).data)


class Reports(Door):
    """Reports to owners, the newest first."""

    verbs = {"POST": Verb.RECORD_READINGS}
    pagination_class = Keyset

    @extend_schema(parameters=[ReportsAsked], responses=ReportOut(many=True))
    def get(self, request: Request) -> Response:
        asked = _asked(ReportsAsked, request)
        found = report_list(
            owner=asked["owner"].upper(), piece=asked["piece"].upper(), only_open=asked["open"],
            before=asked["after"], size=SIZE,
        )  # fmt: skip
        return paged(request, ReportOut(found.rows, many=True).data, str(found.before or ""))

    @extend_schema(request=ReportIn, responses={201: ReportDetailOut})
    def post(self, request: Request) -> Response:
        """Open a report."""
        values = given(ReportIn, request)
        piece, stock = values.pop("piece"), values.pop("stock")
        made = owner_reports.report(
            by=by(request),
            at=timezone.now(),
            piece=piece_of(piece) if piece else None,
            stock_line=stock_of(stock) if stock else None,
            **values,
        )
        return answer(ReportDetailOut, report_page(made.pk), 201)


class OneReport(Door):
    """One report with what became of it."""

    @extend_schema(responses=ReportDetailOut)
    def get(self, request: Request, number: int) -> Response:
        return answer(ReportDetailOut, report_page(number))


class ReportNotes(Door):
    """What became of a report: the owner was told, answered, it was found, it is settled."""

    verbs = {"POST": Verb.DEAL_WITH_OWNERS}

    @extend_schema(request=NoteIn, responses={201: ReportDetailOut})
    def post(self, request: Request, number: int) -> Response:
        report_page(number)
        row = OwnerReport.objects.select_related("owner", "incident").get(pk=number)
        values = given(NoteIn, request)
        owner_reports.add_note(by=by(request), at=timezone.now(), report=row, **values)
        return answer(ReportDetailOut, report_page(number), 201)


def _asked(serializer: Any, request: Request) -> dict[str, Any]:
    asked = serializer(data=request.query_params)
    asked.is_valid(raise_exception=True)
    return dict(asked.validated_data)


def _pieces(owner: Owner, values: dict[str, Any]) -> list[Piece]:
    """Those that are named, else those of the copy that are the owner's."""
    number, letter = values.pop("set"), values.pop("copy")
    named = [piece_of(code) for code in values.pop("pieces", ())]
    if named or not number:
        return named
    return approvals.pieces_of_copy(owner=owner, copy=copy_of(set_of(number), letter))
