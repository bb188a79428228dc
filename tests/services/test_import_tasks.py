"""Large imports are the worker's: read, stopped, applied whole, refused when the shop moved on."""

from __future__ import annotations

import resource
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.polled import assert_whole
from tests.services.importing import DRAWINGS, OWNERS, PIECES, PLACES, bring, csv, look
from tooling.errors import Conflict, NoRoom, NotAllowed
from tooling.models import (
    Change,
    Import,
    ImportState,
    LengthEntry,
    Movement,
    Owner,
    Person,
    Piece,
    Place,
    Reading,
    StoredFile,
    Task,
    TaskState,
)
from tooling.queries.import_tasks import problem_count, task_line, whole_list
from tooling.services import files, import_work, imports, tasks
from tooling.services.movements import move_pieces
from tooling.services.rebuild import differences
from tooling.task_kinds import HANDLERS
from tooling.tasks import Run, work_once

pytestmark = pytest.mark.django_db
MANY = imports.MOST_AT_ONCE + 200


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Path) -> None:
    settings.FILES_DIR = tmp_path / "files"


def owners(count: int = MANY, name: str = "Owner") -> bytes:
    rows = "\n".join(f"A{n},{name} {n},no" for n in range(count))
    return f"Code,Name,Our own shop\n{rows}".encode()


def brought(by: Person, at: datetime, data: bytes) -> Import:
    return imports.bring(by=by, at=at, brought=[imports.Brought("owners.csv", data)])


def worked(made: Import) -> Import:
    assert work_once(HANDLERS)
    made.refresh_from_db()
    return made


def test_many_rows_are_read_and_applied_by_the_worker(engineer: Person, at: datetime) -> None:
    made = brought(engineer, at, owners())
    assert (made.state, made.task and made.task.state) == (ImportState.READING, TaskState.WAITING)
    assert made.rows == {"create": 0, "change": 0, "same": 0}
    assert worked(made).state == ImportState.READY
    assert made.rows == {"create": MANY, "change": 0, "same": 0}
    assert not Owner.objects.exists()
    assert imports.apply(by=engineer, at=at, made=made).state == ImportState.APPLYING
    assert worked(made).state == ImportState.APPLIED
    assert (Owner.objects.count(), Change.objects.filter(what="imported").count()) == (MANY, MANY)
    done = Task.objects.get(kind="import_apply")
    assert (done.state, done.result["state"]) == (TaskState.DONE, "applied")
    made.refresh_from_db()
    assert made.applied_at is not None
    assert done.finished_at is not None
    assert done.finished_at > made.applied_at
    assert differences() == []


def test_few_rows_are_done_at_once_and_need_no_worker(engineer: Person, at: datetime) -> None:
    assert bring(engineer, at, owners=OWNERS).state == ImportState.APPLIED
    assert not Task.objects.exists()


def test_while_the_worker_is_at_it_nobody_else_is(engineer: Person, at: datetime) -> None:
    made = brought(engineer, at, owners())
    for act in (imports.apply, imports.drop, imports.look_over):
        with pytest.raises(Conflict) as refused:
            act(by=engineer, at=at, made=made)
        assert refused.value.code == "import_over"


def test_what_cannot_be_read_is_dropped_and_says_why(engineer: Person, at: datetime) -> None:
    made = worked(brought(engineer, at, b'Code,Name\nA,"' + b"never closed\n" * 20_000))
    line = task_line(Import.objects.select_related("task").get(pk=made.pk))
    assert made.state == ImportState.DROPPED
    assert line is not None
    assert (line.is_over, line.code) == (True, "unreadable_row")


# Stopped ----------------------------------------------------------------------------------------


def stopped(by: Person, at: datetime, made: Import, kind: str) -> Import:
    """The worker has begun when somebody asks it to stop."""

    def stop_first(run: Run) -> dict[str, Any]:
        imports.cancel(by=by, at=at, made=made)
        return HANDLERS[kind](run)

    assert work_once({**HANDLERS, kind: stop_first})
    made.refresh_from_db()
    return made


def test_a_stopped_reading_can_be_looked_at_again(engineer: Person, at: datetime) -> None:
    made = brought(engineer, at, owners())
    assert stopped(engineer, at, made, import_work.READING).state == ImportState.MAPPING
    assert imports.look_over(by=engineer, at=at, made=made).state == ImportState.READING
    assert worked(made).state == ImportState.READY


def test_a_stopped_applying_leaves_nothing_and_can_be_applied_later(
    engineer: Person, supervisor: Person, at: datetime
) -> None:
    made = worked(brought(engineer, at, owners()))
    imports.apply(by=engineer, at=at, made=made)
    assert stopped(supervisor, at, made, import_work.APPLYING).state == ImportState.READY
    assert not Owner.objects.exists()
    assert not Change.objects.exists()
    imports.apply(by=engineer, at=at, made=made)
    assert worked(made).state == ImportState.APPLIED


def test_a_work_stopped_before_it_began_frees_the_import(engineer: Person, at: datetime) -> None:
    made = brought(engineer, at, owners())
    assert imports.cancel(by=engineer, at=at, made=made).state == ImportState.MAPPING
    assert not work_once(HANDLERS)
    with pytest.raises(Conflict) as refused:
        imports.cancel(by=engineer, at=at, made=made)
    assert refused.value.code == "task_over"


def test_a_crew_may_not_stop_it(engineer: Person, crew: Person, at: datetime) -> None:
    made = brought(engineer, at, owners())
    with pytest.raises(NotAllowed):
        imports.cancel(by=crew, at=at, made=made)


def test_a_worker_that_died_twice_frees_the_import(engineer: Person, at: datetime) -> None:
    made = worked(brought(engineer, at, owners()))
    imports.apply(by=engineer, at=at, made=made)
    for turn in range(2):
        assert tasks.claim(at=at + timedelta(minutes=turn)) is not None
    assert tasks.claim(at=at + timedelta(minutes=2)) is None
    made.refresh_from_db()
    assert made.state == ImportState.READY


def test_a_worker_that_died_after_writing_does_not_write_twice(
    engineer: Person, at: datetime
) -> None:
    made = worked(brought(engineer, at, owners()))
    imports.apply(by=engineer, at=at, made=made)
    worked(made)
    Task.objects.filter(kind="import_apply").update(state=TaskState.RUNNING, heartbeat_at=at)
    assert worked(made).state == ImportState.APPLIED
    assert Task.objects.filter(state=TaskState.DONE).count() == 2
    assert Owner.objects.count() == MANY


# The shop moved on ------------------------------------------------------------------------------


@pytest.fixture
def shop(engineer: Person, at: datetime) -> None:
    bring(engineer, at, owners=OWNERS, places=PLACES, drawings=DRAWINGS, pieces=PIECES)


MOVED = "Old number,Drawing,Place\nR-1,D-1,Hall / Rack A / Shelf 2"


def meanwhile(act: Any) -> Any:
    """Progress of an import, with something else that happens just before it is written."""
    times: list[int] = []

    def progress(share: float, message: str) -> None:
        if message.startswith("Writing"):
            times.append(1)
            act(len(times))

    return progress


def move(by: Person, at: datetime, alias: str, to: str) -> None:
    piece = Piece.objects.get(aliases__text=alias)
    move_pieces(by=by, at=at, pieces=[piece], to=Place.objects.get(name=to))


def test_a_scan_of_another_piece_does_not_matter(
    engineer: Person, at: datetime, shop: None
) -> None:
    later = at + timedelta(hours=1)
    made = look(engineer, later, pieces=MOVED)
    act = meanwhile(lambda turn: move(engineer, later, "R-2", "Hall"))
    import_work.write(by=engineer, at=later, made=made, progress=act)
    assert made.state == ImportState.APPLIED
    assert Piece.objects.get(aliases__text="R-1").place.name == "Shelf 2"
    assert Piece.objects.get(aliases__text="R-2").place.name == "Hall"
    assert differences() == []


def test_a_scan_of_the_same_piece_is_seen_and_the_plan_refused(
    engineer: Person, at: datetime, shop: None
) -> None:
    later = at + timedelta(hours=1)
    made = look(engineer, later, pieces=MOVED)
    act = meanwhile(lambda turn: move(engineer, later, "R-1", "Hall") if turn == 1 else None)
    with pytest.raises(Conflict) as refused:
        import_work.write(by=engineer, at=later, made=made, progress=act)
    assert refused.value.code == "stale_plan"
    assert Piece.objects.get(aliases__text="R-1").place.name == "Hall"
    assert [line["changes"] for line in made.preview] == [
        {"Place": ["Hall", "Hall / Rack A / Shelf 2"]}
    ]


def test_a_shop_that_never_holds_still_is_said(engineer: Person, at: datetime, shop: None) -> None:
    made = look(engineer, at, pieces=MOVED)

    def edit(turn: int) -> None:
        bring(engineer, at, more=f"Code,Name,Our own shop\nN{turn},New {turn},no".encode())

    with pytest.raises(Conflict) as refused:
        import_work.write(by=engineer, at=at, made=made, progress=meanwhile(edit))
    assert refused.value.code == "stale_plan"
    assert Piece.objects.get(aliases__text="R-1").place.name == "Shelf 1"


def test_labels_given_out_meanwhile_are_not_given_out_again(
    engineer: Person, at: datetime, shop: None
) -> None:
    made = look(engineer, at, pieces="Old number,Drawing\nR-9,D-1")

    def another(turn: int) -> None:
        if turn == 1:
            bring(engineer, at, rolls="Old number,Drawing\nR-8,D-1")

    import_work.write(by=engineer, at=at, made=made, progress=meanwhile(another))
    codes = list(Piece.objects.values_list("code", flat=True))
    assert len(set(codes)) == len(codes) == 5


def test_present_values_follow_from_all_sheets_of_one_import(
    engineer: Person, at: datetime, shop: None
) -> None:
    """Both pieces that were there and new ones, with sizes in three sheets and two of runs."""
    bring(
        engineer, at + timedelta(hours=1),
        pieces="Old number,Drawing,Now OD mm,Length run m\nR-1,D-1,179.1,900\nN-1,D-1,179.2,50",
        readings="Piece,Dimension,Value mm,Date\n"
                 "R-1,outside diameter,179.3,2026-01-02\nN-1,root diameter,149,2026-01-02",
        regrinds="Piece,Date,After OD mm,After root diameter mm\n"
                 "R-1,2026-02-02,179.25,148.9\nN-1,2025-02-02,,148.5",
        length_run="Piece,Length m,Date\nR-1,200,2026-01-31\nN-1,50,2026-01-31",
    )  # fmt: skip
    assert differences() == []
    old, new = (Piece.objects.get(aliases__text=text) for text in ("R-1", "N-1"))
    assert (old.now_outside_diameter_nm, old.now_root_diameter_nm) == (179_100_000, 148_900_000)
    assert (new.now_outside_diameter_nm, new.now_root_diameter_nm) == (179_200_000, 149_000_000)
    assert (old.length_run_nm, new.length_run_nm) == (900 * 10**9, 50 * 10**9)
    assert (Reading.objects.count(), LengthEntry.objects.count()) == (4, 3)


def test_ids_that_grow_keep_the_ledger_in_order(engineer: Person, at: datetime, shop: None) -> None:
    keys = list(Movement.objects.order_by("id").values_list("uuid", flat=True))
    assert [key.version for key in keys] == [7] * len(keys)
    assert [key.int for key in keys] == sorted(key.int for key in keys)


# Problems and files -----------------------------------------------------------------------------


def test_more_problems_than_are_kept_are_counted_and_can_be_taken_whole(
    engineer: Person, at: datetime, log_in: Any
) -> None:
    rows = "\n".join(f"=A,Owner {n},no" for n in range(MANY))
    made = worked(brought(engineer, at, f"Code,Name,Our own shop\n{rows}".encode()))
    made = Import.objects.select_related("task__file").get(pk=made.pk)
    assert (made.state, len(made.problems)) == (ImportState.PROBLEMS, 1_000)
    assert problem_count(made) == MANY - 1
    assert whole_list(made) is not None
    taken = log_in(engineer).get(f"/shop/spreadsheets/{made.pk}/problems.csv")
    lines = b"".join(taken.streaming_content).decode().splitlines()
    assert len(lines) == MANY
    assert lines[1].startswith("owners,3,Code,'=A,duplicate_row,")
    assert "attachment" in taken.headers["Content-Disposition"]


def test_few_problems_are_a_sheet_too(engineer: Person, at: datetime, log_in: Any) -> None:
    made = look(engineer, at, owners=b"Code,Name,Our own shop\nA,Alder,perhaps")
    taken = log_in(engineer).get(f"/shop/spreadsheets/{made.pk}/problems.csv")
    lines = b"".join(taken.streaming_content).decode("utf-8-sig").splitlines()
    assert lines == [
        "Sheet,Row,Column,Value,Code,Problem",
        "owners,2,Our own shop,perhaps,not_yes_or_no,“perhaps” is neither yes nor no.",
    ]


def test_the_files_can_be_taken_as_they_were_brought(
    engineer: Person, at: datetime, log_in: Any
) -> None:
    made = look(engineer, at, owners=OWNERS)
    key = made.files.get().pk
    taken = log_in(engineer).get(f"/shop/spreadsheets/{made.pk}/files/{key}/")
    assert b"".join(taken.streaming_content) == csv(OWNERS)
    assert taken.headers["Content-Disposition"] == 'attachment; filename="owners.csv"'
    assert log_in(engineer).get(f"/shop/spreadsheets/{made.pk + 1}/files/{key}/").status_code == 404


def test_the_page_shows_the_work_until_it_is_over(
    engineer: Person, at: datetime, log_in: Any
) -> None:
    client, made = log_in(engineer), brought(engineer, at, owners())
    address = f"/shop/spreadsheets/{made.pk}/"
    page = client.get(address).content.decode()
    assert f'hx-get="{address}work/"' in page
    assert "Waiting for the worker" in page
    assert "Apply all of it" not in page
    polled = client.get(f"{address}work/")
    assert 'hx-trigger="every 1s"' in polled.content.decode()
    assert ("You may leave" in page, "You may leave" in polled.content.decode()) == (True, False)
    worked(made)
    assert_whole(client.get(f"{address}work/"), address)
    assert "Apply all of it" in client.get(address).content.decode()


def test_a_program_brings_watches_stops_and_applies_a_large_import(
    engineer: Person, at: datetime, api_as: Any, tmp_path: Path
) -> None:
    api, sheet = api_as(engineer), tmp_path / "owners.csv"
    sheet.write_bytes(owners())
    with sheet.open("rb") as file:
        told = api.post("/api/v1/imports/", {"files": file}, format="multipart").json()
    address = f"/api/v1/imports/{told['id']}/"
    assert (told["state"], told["problems"], told["problem_count"]) == ("reading", [], 0)
    assert api.get(f"/api/v1/tasks/{told['task']}/").json()["state"] == "waiting"
    assert api.post(f"{address}cancel/").json()["state"] == "mapping"
    assert api.post(f"{address}cancel/").json()["code"] == "task_over"
    made = Import.objects.get()
    imports.look_over(by=engineer, at=at, made=made)
    worked(made)
    applying = api.post(f"{address}apply/")
    assert (applying.status_code, applying.json()["state"]) == (202, "applying")
    worked(made)
    assert api.get(address).json()["state"] == "applied"
    (kept,) = api.get(f"{address}files/").json()
    assert b"".join(api.get(f"{address}files/{kept['id']}/").streaming_content) == owners()
    assert api.get(f"{address}problems.csv").headers["Content-Type"].startswith("text/csv")


# The disk is full -------------------------------------------------------------------------------


@contextmanager
def a_disk_of(size: int) -> Iterator[None]:
    """No file of this process grows beyond so many bytes: the system says so as of a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def left_behind() -> tuple[bool, bool, list[Path]]:
    folder = files.path_of(StoredFile(sha256="x")).parent
    kept = list(folder.iterdir()) if folder.exists() else []
    return Import.objects.exists(), StoredFile.objects.exists(), kept


@pytest.mark.one_database
@pytest.mark.parametrize("count", [300, MANY])
def test_a_full_disk_is_said_and_leaves_nothing(engineer: Person, at: datetime, count: int) -> None:
    with a_disk_of(4_096), pytest.raises(NoRoom) as refused:
        brought(engineer, at, owners(count))
    assert (refused.value.code, refused.value.status) == ("no_room", 507)
    assert left_behind() == (False, False, [])


@pytest.mark.one_database
def test_a_full_disk_is_answered_by_page_and_api(
    engineer: Person, log_in: Any, api_as: Any, tmp_path: Path
) -> None:
    sheet = tmp_path / "owners.csv"
    sheet.write_bytes(owners(300))
    doors = [
        (log_in(engineer), "/shop/spreadsheets/bring/", 'data-code="no_room"'),
        (api_as(engineer), "/api/v1/imports/", '"code":"no_room"'),
    ]
    for client, address, told in doors:
        with sheet.open("rb") as file, a_disk_of(4_096):
            given = {"format": "multipart"} if isinstance(client, APIClient) else {}
            answer = client.post(address, {"files": file}, **given)
        assert (answer.status_code, told in answer.content.decode()) == (507, True)
    assert left_behind() == (False, False, [])
