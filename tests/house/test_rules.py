"""Rules of the house that a machine can check."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parent.parent.parent
FORBIDDEN_NAMES = {"utils.py", "helpers.py", "common.py", "manager.py", "managers.py", "base.py"}
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "manage.py",
    "tooling",
    "api",
    "tests",
    "fixtures",
}


def python_files(*folders: str) -> list[Path]:
    found = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    return sorted(path for path in found if "migrations" not in path.parts)


def test_the_top_level_holds_only_what_belongs_there() -> None:
    here = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert here - {"__pycache__"} == TOP_LEVEL


def test_no_file_has_a_name_that_says_nothing() -> None:
    assert not [p for p in python_files("tooling", "api", "tests") if p.name in FORBIDDEN_NAMES]


@pytest.mark.parametrize("path", python_files("tooling", "api"), ids=lambda p: str(p.name))
def test_no_file_grows_beyond_four_hundred_lines(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 400


@pytest.mark.parametrize("path", python_files("tooling/services"), ids=lambda p: p.name)
def test_only_write_opens_a_transaction(path: Path) -> None:
    if path.name != "write.py":
        assert "atomic(" not in path.read_text()


def test_nothing_outside_services_opens_a_transaction() -> None:
    allowed = {ROOT / "tooling/services/write.py"}
    offenders = [
        path for path in python_files("tooling", "api")
        if path not in allowed and re.search(r"\batomic\(", path.read_text())
    ]  # fmt: skip
    assert offenders == []


def test_writing_services_take_keywords_only() -> None:
    offenders = []
    for path in python_files("tooling/services"):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                positional = {argument.arg for argument in node.args.args}
                if "by" in positional:
                    offenders.append(f"{path.name}: {node.name}")
    assert offenders == []


def test_no_test_sleeps_or_is_skipped() -> None:
    banned = re.compile(r"time\.sleep\(|pytest\.skip|mark\.skip|mark\.xfail|importorskip")
    here = Path(__file__)
    tests = [path for path in python_files("tests") if path != here]
    assert [str(p) for p in tests if banned.search(p.read_text())] == []


def test_templates_hold_no_inline_style_or_script() -> None:
    inline = re.compile(r"<style|\sstyle=|\son[a-z]+=|<script(?![^>]*\ssrc=)|javascript:", re.I)
    pages = sorted((ROOT / "tooling/templates").rglob("*.html"))
    assert [str(p) for p in pages if inline.search(p.read_text())] == []


def test_engineering_keeps_no_clock_and_no_database() -> None:
    for path in python_files("tooling/engineering"):
        words = path.read_text()
        assert not re.search(r"django(?!\.utils\.(translation|functional))", words), path
        assert "datetime.now" not in words, path


def test_settings_models_and_addresses_pass_the_checks_of_the_framework() -> None:
    """The commands that people wait for do not check them again at every start."""
    call_command("check", fail_level="WARNING")
