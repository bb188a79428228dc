"""What a shop owes to those whose tooling it keeps, held end to end through the doors.

ISO 9001:2015, 8.5.3, in our own words: whoever has something of a customer's in use or in care
(1) can tell it from the rest, (2) checks what came, (3) takes care of it and uses it only as its
owner allows, (4) tells the owner when it is lost, damaged or found unfit for use, and (5) keeps on
record what happened. Each point is one test, done by people at pages and programs at the API.
"""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from tests.paper.reading import page_texts
from tests.rolling import Rolling
from tooling.models import Approval, Owner, OwnerReport

pytestmark = pytest.mark.django_db
TOP = (1, "top", 1)


@pytest.fixture
def at():
    return timezone.now()


class Care:
    """A shop with a customer's roll in a set, and its people at their pages and programs."""

    def __init__(self, world, cast, log_in, api_as) -> None:
        self.world, self.cast, self.log_in, self.api_as = world, cast, log_in, api_as
        self.shop = Rolling(world)
        self.owner = Owner.objects.create(code="ORN", name="Orn & Sons")
        self.roll = self.shop.pieces[TOP]
        self.roll.owner, self.roll.seen_at = self.owner, None
        self.roll.save()

    def page(self, role: str, path: str) -> str:
        answer = self.log_in(self.cast[role]).get(path)
        assert answer.status_code == 200, path
        return answer.content.decode()

    def scan(self, to) -> dict[str, str]:
        now = timezone.now().isoformat()
        scan = {"id": str(uuid.uuid4()), "happened_at": now, "to": to.code,
                "code": self.roll.code, "how": "scan"}  # fmt: skip
        sent = {"device": "gate", "device_now": now, "scans": [scan]}
        answer = self.api_as(self.cast["attendant"]).post("/api/v1/scans/", sent, format="json")
        return dict(answer.json()["results"][0])

    def answers(self, answer: str, kind: str, **more: object):
        sent = {"answer": answer, "kind": kind, "pieces": self.roll.code, "reference": "letter 7",
                "dated_on": f"{timezone.localdate()}", **more}  # fmt: skip
        said = self.log_in(self.cast["attendant"]).post("/shop/owners/ORN/ask/", sent)
        assert said.status_code == 302, said.content.decode()


@pytest.fixture
def care(world, cast, log_in, api_as, settings, tmp_path):
    settings.FILES_DIR = tmp_path
    return Care(world, cast, log_in, api_as)


def test_1_a_customers_piece_is_told_from_the_rest(care):
    """By its record, by the owner's mark on it as somebody looked, and by the owner's register."""
    code = care.roll.code
    assert "Orn &amp; Sons" in care.page("viewer", f"/pieces/{code}/")
    found = care.api_as(care.cast["viewer"]).get("/api/v1/pieces/?owner=ORN").json()
    assert [piece["code"] for piece in found["results"]] == [code]
    assert code in care.page("crew", "/shop/owners/ORN/marks/?which=never")
    care.log_in(care.cast["crew"]).post(f"/pieces/{code}/owner-mark/", {"is_there": "no"})
    assert code in care.page("crew", "/shop/owners/ORN/marks/?which=unmarked")
    register = care.page("viewer", "/shop/owners/ORN/")
    assert (code in register, care.shop.pieces[2, "top", 1].code in register) == (True, False)


def test_2_what_came_is_checked_and_the_register_says_when(care):
    """What is only written down counts as not seen until somebody has it before their eyes."""
    assert "not yet seen" in care.page("viewer", "/shop/owners/ORN/")
    assert care.scan(care.shop.rack)["status"] == "taken"
    assert "not yet seen" not in care.page("viewer", "/shop/owners/ORN/")
    (row,) = care.api_as(care.cast["viewer"]).get("/api/v1/owners/ORN/register/").json()["results"]
    assert row["seen_at"] is not None


def test_3_it_is_cared_for_and_used_only_as_its_owner_allows(care, engineer):
    """No other job has it, nobody cuts, sends away or scraps it, until the owner says so in
    writing; and no longer than that."""
    kit = care.shop.kit(care.cast["crew"])
    assert care.roll.code not in care.page("crew", f"/kits/{kit.number}/")
    scrap = care.world.place("Scrap", kind="scrap")
    sister = care.world.place("Plant 2", kind="sister")
    grinder = care.world.place("Halsey Grinding", kind="grinder")
    for place, kind in ((scrap, "scrap"), (sister, "transfer"), (grinder, "regrind")):
        refused = care.scan(place)
        assert refused["code"] == "owner_approval_missing"
        assert "Orn & Sons" in refused["message"]
        care.answers("asked", kind)
    assert "3 questions have no answer yet" in care.page("attendant", "/shop/owners/waiting/")
    care.answers("given", "regrind")
    assert care.scan(grinder)["status"] == "taken"
    assert care.scan(care.shop.rack)["status"] == "taken"
    care.answers("withdrawn", "regrind")
    work = {"kind": "regrind", "done_on": f"{timezone.localdate()}",
            "drive_diameter_after_mm": "150"}  # fmt: skip
    done = care.api_as(engineer).post(f"/api/v1/pieces/{care.roll.code}/work/", work, format="json")
    assert (done.status_code, done.json()["code"]) == (409, "owner_approval_missing")


@pytest.mark.parametrize("kind", ["loss", "damage", "unsuitable"])
def test_4_the_owner_is_told_when_it_is_lost_damaged_or_unfit(care, engineer, kind):
    """The report opens by itself, stands on Today, and is open until somebody says whom they
    told, and when: not before it happened, and not in advance."""
    client = care.api_as(engineer)
    if kind == "loss":
        care.scan(care.world.place("Lost", kind="lost"))
    elif kind == "damage":
        body = {"condition": "cracked"}
        client.patch(f"/api/v1/pieces/{care.roll.code}/", body, format="json")
    else:
        body = {"dimension": "drive_diameter", "value_mm": "139", "sure": True}
        client.post(f"/api/v1/pieces/{care.roll.code}/readings/", body, format="json")
    report = OwnerReport.objects.get()
    address = f"/shop/owners/reports/{report.pk}/"
    assert report.kind == kind
    assert address in care.page("attendant", "/today/")
    notes, now = f"/api/v1/owner-reports/{report.pk}/notes/", timezone.now()
    for wrong in (now - timedelta(days=1), now + timedelta(days=1)):
        body = {"what": "told", "whom": "J. Orn", "happened_at": wrong.isoformat()}
        assert client.post(notes, body, format="json").status_code == 400
    client.post(notes, {"what": "told", "whom": "J. Orn, by telephone"}, format="json")
    assert address not in care.page("attendant", "/today/")
    assert "J. Orn, by telephone" in care.page("viewer", address)


def test_5_what_happened_stays_on_record(care):
    """Letters and answers come back as they were given, nobody changes them, and the owner gets
    it dated on paper."""
    letter = SimpleUploadedFile("letter.txt", b"You may scrap it. J. Orn")
    care.answers("given", "scrap", letter=letter)
    row = Approval.objects.get()
    answer = care.log_in(care.cast["viewer"]).get(f"/shop/owners/letters/{row.pk}/")
    assert b"".join(answer.streaming_content) == b"You may scrap it. J. Orn"
    for wish in ("DELETE FROM tooling_approvalpiece", "UPDATE tooling_approval SET note = 'x'"):
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(wish)
    pdf = care.log_in(care.cast["viewer"]).get("/shop/owners/ORN/register.pdf")
    (page,) = page_texts(pdf.content)
    assert care.roll.code in page
    assert f"{timezone.localdate()}" in page
