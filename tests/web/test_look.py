"""The look keeps its promises: contrast in both themes, nothing inline, files as fetched."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
STATIC = HOUSE / "tooling" / "static"
TEMPLATES = sorted((HOUSE / "tooling" / "templates").rglob("*.html"))
VENDORED = [HOUSE / "tooling/static/vendor", HOUSE / "tests/vendor"]
TOKENS = (STATIC / "rollroom" / "tokens.css").read_text()


def _tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))


LIGHT = _tokens(TOKENS.split("@media")[0])
DARK = _tokens(re.split(r"@media", TOKENS)[1])


def _channels(colour: str) -> list[float]:
    return [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]


def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in _channels(colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _paper_low(theme: dict[str, str]) -> str:
    """40 % of the soft grey over the paper, as --paper-low mixes them."""
    mixed = zip(_channels(theme["grey-soft"]), _channels(theme["paper"]), strict=True)
    return "#" + "".join(f"{round(255 * (0.4 * soft + 0.6 * paper)):02x}" for soft, paper in mixed)


def test_contrast_is_computed_as_published() -> None:
    # WCAG 2.2: black on white is 21; #767676 on white is the well-known least grey, 4.54.
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_dark_changes_colours_only() -> None:
    """Pages are looked at in the second theme for their colours (``tests/browser/axe.py``)."""
    ours = sorted((STATIC / "rollroom").glob("*.css"))
    asking = [each.name for each in ours if "prefers-color-scheme" in each.read_text()]
    assert asking == ["tokens.css"]
    assert TOKENS.count("prefers-color-scheme") == 1
    block = re.search(r"prefers-color-scheme: dark\) \{\s*:root \{([^{}]*)\}\s*\}", TOKENS)
    assert block is not None
    said = [line.strip() for line in block[1].split(";") if line.strip()]
    assert [line for line in said if not re.fullmatch(r"--[a-z-]+: #[0-9a-f]{6}", line)] == []
    scripts = [*(STATIC / "rollroom").glob("*.js"), *TEMPLATES]
    assert not [each.name for each in scripts if "prefers-color-scheme" in each.read_text()]


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("colour", ["ink", "grey", "accent", "warning"])
def test_text_can_be_read_on_paper_and_on_its_shade(theme: dict[str, str], colour: str) -> None:
    assert _contrast(theme[colour], theme["paper"]) >= 4.5
    assert _contrast(theme[colour], _paper_low(theme)) >= 4.5


def test_both_themes_name_the_same_six_colours() -> None:
    assert set(LIGHT) == set(DARK) == {"paper", "ink", "grey", "grey-soft", "accent", "warning"}


def test_no_other_file_brings_a_colour() -> None:
    colour = re.compile(r"#[0-9a-f]{3,8}\b|\brgba?\(|\bhsla?\(", re.IGNORECASE)
    sheets = [p for p in (STATIC / "rollroom").glob("*.css") if p.name != "tokens.css"]
    found = {p.name: colour.findall(re.sub(r"#[a-z-]+ *[{,:]", "", p.read_text())) for p in sheets}
    assert {name: hits for name, hits in found.items() if hits} == {}


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda p: str(p.relative_to(HOUSE)))
def test_no_template_has_anything_inline(template: Path) -> None:
    text = template.read_text()
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|\shx-on|javascript:", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda p: str(p.relative_to(HOUSE)))
def test_no_template_fetches_from_elsewhere(template: Path) -> None:
    elsewhere = r"(?:src|href|action|hx-[a-z]+)=[\"'](?:https?:)?//"
    assert not re.search(elsewhere, template.read_text())


def _fetched() -> list[tuple[Path, str]]:
    row = re.compile(r"^\| `([^`]+)` .*`([0-9a-f]{64})` \|$", re.MULTILINE)
    return [
        (folder / name, digest)
        for folder in VENDORED
        for name, digest in row.findall((folder / "README.md").read_text())
    ]


@pytest.mark.parametrize(("path", "digest"), _fetched(), ids=lambda v: getattr(v, "name", ""))
def test_a_file_made_elsewhere_is_the_one_that_was_fetched(path: Path, digest: str) -> None:
    assert hashlib.sha256(path.read_bytes()).hexdigest() == digest


def test_every_script_and_font_made_elsewhere_is_listed() -> None:
    listed = {path for path, _digest in _fetched()}
    there = {
        path
        for folder in VENDORED
        for path in folder.rglob("*")
        if path.suffix in {".js", ".woff2", ".wasm", ".css"}
    }
    assert there <= listed
