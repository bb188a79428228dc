"""``labels CODE… --size SIZE --out FILE``: files that other programs read, exit codes, records."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.paper.reading import pages, read, read_png
from tests.world import World
from tooling.models import LabelEvent

pytestmark = pytest.mark.django_db


def run(*arguments: str) -> tuple[int, str]:
    out, err = StringIO(), StringIO()
    try:
        call_command("labels", *arguments, stdout=out, stderr=err)
    except SystemExit as ended:
        return int(ended.code or 0), out.getvalue() + err.getvalue()
    return 0, out.getvalue() + err.getvalue()


@pytest.fixture
def codes(world: World, supervisor) -> list[str]:
    rack, drawing = world.place("Rack A"), world.drawing("D1")
    return [rack.code, *(world.piece(drawing, rack).code for _n in range(3))]


def test_a_pdf_holds_every_label_and_each_is_recorded(codes, supervisor, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    typed = [codes[0].lower(), *codes[1:]]
    assert run(*typed, "--size", "letter-30", "--out", str(out)) == (0, f"4 labels in {out}\n")
    (page,) = pages(out.read_bytes())
    assert read(page) == sorted(codes)
    told = LabelEvent.objects.values_list("code", "what", "size", "by")
    assert sorted(told) == sorted((code, "issue", "letter-30", supervisor.pk) for code in codes)


def test_a_png_holds_one_label(codes, tmp_path: Path) -> None:
    out = tmp_path / "one.png"
    assert run(codes[1], "--size", "50x25", "--out", str(out)) == (0, f"1 label in {out}\n")
    assert read_png(out.read_bytes()) == [codes[1]]
    code, said = run(*codes, "--out", str(out))
    assert (code, LabelEvent.objects.count()) == (2, 1)
    assert "a PNG holds one label" in said


@pytest.mark.parametrize(
    ("typed", "size", "problem"),
    [
        (["R0000010"], "a4-24", "bad_check_character"),
        (["rubbish"], "a4-24", "not_a_code"),
        ([], "a5", "unknown_label_size"),
    ],
)
def test_a_stated_problem_ends_with_one_and_leaves_nothing(
    typed, size, problem, codes, tmp_path: Path
) -> None:
    out = tmp_path / "sheet.pdf"
    code, said = run(codes[0], *typed, "--size", size, "--out", str(out))
    assert (code, out.exists(), LabelEvent.objects.count()) == (1, False, 0)
    assert said.startswith(f"{problem}: ")


def test_a_folder_that_is_not_there_records_nothing(codes, tmp_path: Path) -> None:
    code, said = run(codes[0], "--out", str(tmp_path / "none" / "sheet.pdf"))
    assert (code, LabelEvent.objects.count()) == (1, 0)
    assert "No such file or directory" in said


def test_a_wrong_call_ends_with_two(codes, tmp_path: Path) -> None:
    assert run(codes[0], "--out", str(tmp_path / "sheet.doc"))[0] == 2
    with pytest.raises(CommandError, match="no active person"):
        call_command("labels", codes[0], "--out", str(tmp_path / "x.pdf"), "--by", "nobody")


def test_a_person_without_the_right_is_refused(codes, viewer, tmp_path: Path) -> None:
    code, said = run(codes[0], "--out", str(tmp_path / "x.pdf"), "--by", viewer.username)
    assert (code, LabelEvent.objects.count()) == (1, 0)
    assert said.startswith("not_allowed: ")
