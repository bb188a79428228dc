"""The pages of owners: what is shown, problems in place with what was typed, large registers."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from tests.paper.reading import page_texts
from tests.photographs import a_png
from tests.world import World
from tooling.models import (
    Approval,
    Change,
    Movement,
    Owner,
    OwnerMarkCheck,
    OwnerReport,
    Picture,
    Piece,
    Shop,
    Task,
)
from tooling.services import approvals, owner_papers, owner_reports
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

pytestmark = pytest.mark.django_db
ORN = "/shop/owners/ORN & SONS/1/"


@pytest.fixture
def at():
    return timezone.now()


@pytest.fixture(autouse=True)
def _files(settings, tmp_path):
    settings.FILES_DIR = tmp_path


class Hall:
    """A customer, whose code is as odd as codes may be, with two pieces of a set."""

    def __init__(self, world: World) -> None:
        self.world = world
        Shop.objects.update(currency="USD")
        self.orn = Owner.objects.create(code="ORN & SONS/1", name="Orn & Sons <GmbH>")
        self.rack = world.place("Rack")
        self.drawing = world.drawing("D-1")
        self.pieces = [
            world.piece(self.drawing, self.rack, mark=f"M{n}", owner=self.orn, value_cents=125_050)
            for n in range(2)
        ]
        tool_set = world.tool_set(
            "1472", {(n + 1, "top", 1): self.drawing for n in range(2)}, customer=self.orn
        )
        self.copy = world.copy(
            tool_set, "A", {(n + 1, "top", 1): piece for n, piece in enumerate(self.pieces)}
        )

    @property
    def codes(self) -> list[str]:
        return [piece.code for piece in self.pieces]


@pytest.fixture
def hall(world):
    return Hall(world)


def text(answer) -> str:
    return answer.content.decode()


def problems(answer) -> list[str]:
    return re.findall(r'class="problem[^"]*" data-code="([^"]*)"', text(answer))


def test_show_me_my_tooling_is_dated_with_value_mark_and_place(hall, viewer, log_in):
    said = text(log_in(viewer).get(ORN))
    for word in (*hall.codes, "M1", "1\u202f250.50 USD", "1472-A, pass 2", "never looked at"):
        assert word in said, word
    assert f"{timezone.localtime():%Y-%m-%d}" in said
    assert "Orn &amp; Sons &lt;GmbH&gt;" in said


def test_a_page_beyond_the_last_is_the_last_and_an_unknown_owner_is_said(hall, viewer, log_in):
    client = log_in(viewer)
    assert hall.codes[0] in text(client.get(f"{ORN}?page=99"))
    assert hall.codes[0] in text(client.get(f"{ORN}?page=x"))
    assert client.get("/shop/owners/NOBODY/").status_code == 404


def test_an_answer_is_written_down_with_its_letter_and_the_letter_opens(hall, attendant, log_in):
    client = log_in(attendant)
    letter = SimpleUploadedFile("letter.pdf", b"%PDF-1.7 yes")
    sent = {"answer": "given", "kind": "regrind", "pieces": f"M0\n{hall.codes[1]}",
            "dated_on": f"{timezone.localdate()}", "reference": "L 7",
            "letter": letter}  # fmt: skip
    assert client.post(f"{ORN}ask/", sent).status_code == 302
    row = Approval.objects.get()
    assert {each.piece for each in row.pieces.all()} == set(hall.pieces)
    opened = client.get(f"/shop/owners/letters/{row.pk}/")
    assert b"".join(opened.streaming_content) == b"%PDF-1.7 yes"
    assert opened.headers["X-Content-Type-Options"] == "nosniff"
    assert "letter.pdf" in text(client.get(ORN))


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({}, "no_pieces"),
        ({"pieces": "M0", "reference": ""}, "empty_text"),
        ({"pieces": "nothing"}, "unknown_piece"),
        ({"pieces": "own"}, "not_this_owner"),
        ({"pieces": "M0", "dated_on": "2999-01-01"}, "in_the_future"),
        ({"pieces": ",".join(["M0"] * 301)}, "too_many"),
    ],
)
def test_a_refused_answer_keeps_what_was_typed(hall, attendant, log_in, sent, code):
    hall.world.piece(hall.drawing, hall.rack, mark="own")
    base = {"answer": "given", "kind": "scrap", "dated_on": f"{timezone.localdate()}",
            "reference": "L 7", "note": "typed with care"}  # fmt: skip
    answer = log_in(attendant).post(f"{ORN}ask/", {**base, **sent})
    assert (answer.status_code, problems(answer)) == (400, [code])
    assert "typed with care" in text(answer)
    assert not Approval.objects.exists()


def test_the_answer_to_a_question_is_about_its_pieces_unless_some_are_named(
    hall, attendant, log_in, at
):
    asked = approvals.record_approval(
        by=attendant, at=at - timedelta(days=9), owner=hall.orn, kind="scrap", answer="asked",
        pieces=hall.pieces, dated_on=at.date() - timedelta(days=9),
    )  # fmt: skip
    client = log_in(attendant)
    waits = text(client.get("/shop/owners/waiting/"))
    assert ("9 days" in waits, f"about={asked.pk}" in waits) == (True, True)
    sent = {"answer": "refused", "kind": "scrap", "dated_on": f"{timezone.localdate()}",
            "about": asked.pk}  # fmt: skip
    client.post(f"{ORN}ask/", {**sent, "pieces": "M0"})
    client.post(f"{ORN}ask/", sent)
    about = [row.pieces.count() for row in Approval.objects.order_by("pk")]
    assert about == [2, 1, 2]
    assert "No owner owes an answer" in text(client.get("/shop/owners/waiting/"))


def test_a_whole_copy_is_named_at_once(hall, attendant, log_in):
    sent = {"answer": "asked", "kind": "transfer", "copy": hall.copy.pk,
            "dated_on": f"{timezone.localdate()}"}  # fmt: skip
    log_in(attendant).post(f"{ORN}ask/", sent)
    assert Approval.objects.get().pieces.count() == 2


def test_a_report_is_opened_told_and_closed(hall, attendant, log_in):
    client = log_in(attendant)
    sent = {"what": "M0", "quantity": "1", "kind": "loss", "what_happened": "gone"}
    made = client.post("/shop/owners/reports/new/", sent)
    report = OwnerReport.objects.get()
    assert made.headers["Location"] == f"/shop/owners/reports/{report.pk}/"
    for page in ("/today/", ORN, "/shop/owners/reports/?open=1", f"/pieces/{hall.codes[0]}/"):
        assert f"/shop/owners/reports/{report.pk}/" in text(client.get(page)), page
    refused = client.post(f"/shop/owners/reports/{report.pk}/note/", {"what": "told", "note": "n1"})
    assert (problems(refused), 'value="n1"' in text(refused)) == (["empty_text"], True)
    client.post(f"/shop/owners/reports/{report.pk}/note/", {"what": "told", "whom": "J. Orn"})
    assert "J. Orn" in text(client.get(f"/shop/owners/reports/{report.pk}/"))
    assert f"/shop/owners/reports/{report.pk}/" not in text(client.get("/today/"))


@pytest.mark.parametrize(("what", "code"), [("own", "own_tooling"), ("zzz", "unknown_piece")])
def test_what_is_no_report_is_said_in_place(hall, crew, log_in, what, code):
    hall.world.piece(hall.drawing, hall.rack, mark="own")
    sent = {"what": what, "quantity": "1", "kind": "loss", "what_happened": "gone"}
    answer = log_in(crew).post("/shop/owners/reports/new/", sent)
    assert (problems(answer), "gone" in text(answer)) == ([code], True)


def test_a_walk_looks_at_each_piece_with_one_tap(hall, crew, log_in):
    client = log_in(crew)
    assert text(client.get(f"{ORN}marks/")).count('name="is_there" value="yes"') == 2
    tapped = client.post(
        f"/pieces/{hall.codes[0]}/owner-mark/", {"is_there": "yes"}, HTTP_HX_REQUEST="true"
    )
    assert ("the mark is on it" in text(tapped), "<html" in text(tapped)) == (True, False)
    back = client.post(
        f"/pieces/{hall.codes[1]}/owner-mark/",
        {"is_there": "no", "walk": hall.orn.code, "begin": "0"},
    )
    assert back.headers["Location"].endswith("/marks/?begin=0")
    left = text(client.get(f"{ORN}marks/"))
    assert (hall.codes[0] in left, hall.codes[1] in left) == (False, True)


def test_a_look_may_come_with_a_picture(hall, crew, log_in):
    photo = SimpleUploadedFile("mark.png", a_png())
    log_in(crew).post(f"/pieces/{hall.codes[0]}/owner-mark/", {"is_there": "yes", "picture": photo})
    look = OwnerMarkCheck.objects.get()
    assert (look.is_there, look.picture) == (True, Picture.objects.get())


def test_pieces_change_hands_with_a_reason(hall, engineer, log_in):
    own = hall.world.piece(hall.drawing, hall.rack, mark="own")
    client = log_in(engineer)
    refused = client.post(f"{ORN}pieces/", {"pieces": "own", "reason": ""})
    assert problems(refused) == ["required"]
    client.post(f"{ORN}pieces/", {"pieces": "own", "reason": "bought"})
    own.refresh_from_db()
    assert (own.owner, Change.objects.get().reason) == (hall.orn, "bought")


def test_an_edit_that_changes_hands_shows_the_field_for_the_reason(hall, engineer, log_in):
    own = hall.world.piece(hall.drawing, hall.rack, mark="own", value_cents=5)
    page = log_in(engineer).get(f"/pieces/{own.code}/edit/")
    sent = {**page.context["form"].initial, "owner": hall.orn.pk, "value_cents": "1,250.50",
            "revision": own.revision_id}  # fmt: skip
    sent = {name: value for name, value in sent.items() if value is not None}
    refused = log_in(engineer).post(f"/pieces/{own.code}/edit/", sent)
    assert "owner_change_needs_reason" in problems(refused)
    assert 'name="reason" value' not in text(refused)
    log_in(engineer).post(f"/pieces/{own.code}/edit/", {**sent, "reason": "sold"})
    own.refresh_from_db()
    assert (own.owner, own.value_cents) == (hall.orn, 125_050)


@pytest.mark.parametrize(("value", "code"), [("much", "not_money"), ("1,250", "ambiguous_money")])
def test_a_value_that_is_none_is_said_in_its_place(hall, engineer, log_in, value, code):
    client = log_in(engineer)
    form = client.get(f"/pieces/{hall.codes[0]}/edit/").context["form"].initial
    sent = {name: each for name, each in form.items() if each is not None}
    sent |= {"owner": hall.orn.pk, "revision": hall.pieces[0].revision_id, "value_cents": value}
    assert problems(client.post(f"/pieces/{hall.codes[0]}/edit/", sent)) == [code]


# Paper and sheets.


def test_a_small_register_is_drawn_at_once(hall, viewer, log_in):
    client = log_in(viewer)
    asked = client.post(f"{ORN}register/", {"paper": "letter"})
    answer = client.get(asked.headers["Location"])
    (page,) = page_texts(answer.content)
    assert answer.headers["Content-Type"] == "application/pdf"
    assert all(code in page for code in hall.codes)
    assert "2 bear it" not in page
    assert "Orn & Sons <GmbH>" in page


def test_a_large_register_is_drawn_by_the_worker_watched_and_opened(
    hall, attendant, viewer, log_in, monkeypatch
):
    monkeypatch.setattr(owner_papers, "MOST_AT_ONCE", 1)
    client = log_in(attendant)
    assert client.get(f"{ORN}register.pdf").status_code == 409
    asked = client.post(f"{ORN}register/", {"paper": "a4"})
    task = Task.objects.get()
    assert asked.headers["Location"] == f"/shop/owners/registers/{task.pk}/"
    assert "waiting for the worker" in text(client.get(asked.headers["Location"]))
    assert client.get(f"/shop/owners/registers/{task.pk}.pdf").status_code == 404
    assert work_once(HANDLERS)
    assert "The register is ready." in text(client.get(f"{asked.headers['Location']}?part=1"))
    opened = client.get(f"/shop/owners/registers/{task.pk}.pdf")
    assert b"".join(opened.streaming_content).startswith(b"%PDF-")
    assert log_in(viewer).get(f"/labels/{task.pk}/").status_code == 404


def test_a_register_that_is_stopped_keeps_nothing(hall, attendant, log_in):
    task = owner_papers.ask_to_draw(by=attendant, at=timezone.now(), owner=hall.orn, paper="a4")
    client = log_in(attendant)
    client.post(f"/shop/owners/registers/{task.pk}/stop/")
    assert not work_once(HANDLERS)
    assert "Nothing was kept" in text(client.get(f"/shop/owners/registers/{task.pk}/"))


def test_an_unknown_paper_is_refused(hall, viewer, log_in):
    assert log_in(viewer).post(f"{ORN}register/", {"paper": "a5"}).status_code == 400
    assert not Task.objects.exists()


def test_values_on_screen_on_paper_and_as_a_sheet_are_the_same(hall, viewer, log_in):
    Piece.objects.filter(pk=hall.pieces[1].pk).update(value_cents=None, mark="=1+1")
    client = log_in(viewer)
    assert "1\u202f250.50 USD" in text(client.get("/shop/owners/insured/"))
    paper = " ".join(page_texts(client.get("/shop/owners/insured.pdf").content))
    assert "1 250.50 USD" in paper
    assert "not valued" in paper
    sheet = b"".join(client.get("/shop/owners/insured.csv").streaming_content).decode("utf-8-sig")
    lines = sheet.split("\r\n")
    assert lines[1].startswith(f"ORN & SONS/1,Orn & Sons <GmbH>,,{hall.codes[0]},M0,D-1,Rack,sound")
    assert lines[1].endswith(",1250.50,USD")
    assert "'=1+1" in lines[2]
    assert lines[2].endswith(",,USD")


def test_too_many_pieces_for_the_paper_are_said(hall, viewer, log_in, monkeypatch):
    monkeypatch.setattr(owner_papers, "MOST_LISTED", 1)
    assert problems(log_in(viewer).get("/shop/owners/insured.pdf")) == ["too_many_to_print"]


def test_what_lies_still_is_listed_for_one_owner(hall, viewer, log_in):
    then = timezone.now() - timedelta(days=800)
    Movement.objects.create(
        piece=hall.pieces[0], to=hall.rack, how="import", happened_at=then, received_at=then,
        effective_at=then,
    )  # fmt: skip
    said = text(log_in(viewer).get("/shop/owners/dormant/?owner=ORN %26 SONS/1"))
    assert (hall.codes[0] in said, hall.codes[1] in said) == (True, False)


@pytest.mark.parametrize(("currency", "code"), [("dollars", "invalid"), ("U5", "not_a_currency")])
def test_a_currency_has_three_letters(hall, supervisor, log_in, currency, code):
    sent = {"name": "S", "time_zone": "UTC", "length_unit": "mm", "strip_unit": "m"}
    answer = log_in(supervisor).post("/shop/edit/", {**sent, "currency": currency})
    assert answer.status_code == 400
    assert Shop.objects.get().currency == "USD"
    assert code in (*problems(answer), "invalid")


def test_the_page_of_a_piece_says_what_its_owner_allows(hall, attendant, log_in, at):
    record = {"by": attendant, "at": at, "owner": hall.orn, "pieces": hall.pieces,
              "dated_on": at.date()}  # fmt: skip
    approvals.record_approval(**record, kind="scrap", answer="refused")
    approvals.record_approval(**record, kind="regrind", answer="given", reference="order 4711")
    approvals.record_approval(**record, kind="transfer", answer="asked")
    owner_reports.report(
        by=attendant, at=at, piece=hall.pieces[0], kind="damage", what_happened="dropped"
    )
    said = text(log_in(attendant).get(f"/pieces/{hall.codes[0]}/"))
    for word in ("order 4711", "refused on", "no answer yet", "not without asking",
                 "has not been told of this yet"):  # fmt: skip
        assert word in said, word
