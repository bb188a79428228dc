"""Pictures as a phone's camera sees our own labels: rendered, with known codes; no photographs.

A label as the printer gets it is laid before the camera of ``optics.py`` at 25 cm in a whole frame
of 1920 × 1080: flat or round a roll, leaning, dirtied, mirrored in, lit and taken as the kind says.
Everything comes from the seed: the same frames every time. To look at them:

    python -m tests.browser.frames FOLDER [EACH]
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from io import BytesIO
from math import inf
from pathlib import Path

import numpy as np
import qrcode
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from tests.browser.optics import (
    HEIGHT,
    PX_PER_MM,
    WIDTH,
    Array,
    Card,
    Dice,
    Pose,
    developed,
    glare,
    lay_card,
    roll,
)
from tooling.engineering.codes import make_code
from tooling.paper.label_layout import LabelText, lay_out
from tooling.paper.label_sizes import MM_PER_IN, size_named
from tooling.paper.labels import label_png

DPI = 400
PAPER, INK = 0.85, 0.05
TWENTY, SMALLEST = ("a4-65", 20.0), ("38x19", 18.1)
"""Stock and how many mm its symbol is with its margin: the stated case, and the smallest symbol of
any stock, 13 mm without its margin."""


@dataclass(frozen=True)
class Frame:
    """One picture: what kind, as JPEG, and what may be read in it (nothing, where it is empty)."""

    kind: str
    codes: tuple[str, ...]
    jpeg: bytes


@dataclass(frozen=True)
class Shot:
    """How one kind is taken; each figure is the most, and drawn below it unless it says else.

    Degrees of turn and tilt; roll radii in mm, least and most; ``white`` and ``electrons`` of the
    paper as ``optics.developed`` has them; px of defocus and motion, drawn from half upward; specks
    of dirt as a share of the label; modules of the symbol along the side of a covering lump;
    ``mirrors``: light of a lamp in the gloss, 1 being the paper's own.
    """

    turn: float = 180.0
    tilt: float = 12.0
    radii: tuple[float, float] | None = None
    white: float = 0.7
    electrons: float = 6000.0
    defocus: float = 0.6
    motion: float = 0.0
    dirt: float = 0.0
    covered: float = 0.0
    mirrors: float = 0.0


PLAIN = Shot()
DIM = Shot(tilt=20.0, white=0.2, electrons=200.0, defocus=1.2, motion=2.5)
KINDS = {
    "sharp": PLAIN,
    "tilted": Shot(tilt=45.0, defocus=0.8),
    "dim": DIM,
    "dirty": Shot(tilt=20.0, white=0.5, electrons=2000.0, defocus=0.8, dirt=0.008),
    "covered": Shot(tilt=20.0, covered=5.0),
    "glare": Shot(tilt=20.0, mirrors=1.5),
    "on a roll": Shot(tilt=15.0, radii=(35.0, 110.0), white=0.5, electrons=2000.0),
}
"""Dim: a fifteenth of the light of the sharp ones and less; the picture itself is brightened."""
ASKED = ("sharp", "tilted", "dim", "dirty")


def frames(each: int, *, seed: int = 6, stock: tuple[str, float] = TWENTY) -> Iterator[Frame]:
    """So many frames of every kind, the label's symbol as large as the stock says."""
    dice = np.random.default_rng(seed)
    for kind, shot in KINDS.items():
        for _number in range(each):
            code = a_code(dice)
            yield Frame(kind, (code,), take(shot, code, dice, stock=stock))


def traps(each: int, *, seed: int = 7) -> Iterator[Frame]:
    """Frames of which nothing must be taken: codes of other things, labels torn and patched from
    two, labels with a lump over more than the correction holds, labels in the near dark."""
    dice = np.random.default_rng(seed)
    for _number in range(each):
        yield Frame("strange", (), take_card(PLAIN, strange(a_strange_text(dice), dice), dice))
        first, second = a_code(dice), a_code(dice)
        yield Frame(
            "patched", (first, second), take_card(PLAIN, patched(first, second, dice), dice)
        )
        ruined = replace(PLAIN, covered=14.0)
        yield Frame("ruined", (first,), take(ruined, first, dice))
        dark = replace(DIM, electrons=25.0, motion=6.0)
        yield Frame("too dark", (second,), take(dark, second, dice))


def a_code(dice: Dice) -> str:
    """Some code that is issued."""
    while True:
        code = make_code("RSDB"[int(dice.integers(4))], int(dice.integers(34**6)))
        if code:
            return code


def a_strange_text(dice: Dice) -> str:
    """An address, a part number, or a label of ours with one character changed."""
    number, code = int(dice.integers(10**8)), a_code(dice)
    at, other = int(dice.integers(1, 8)), "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"
    wrong = next(each for each in dice.permutation(list(other)) if each != code[at])
    texts = (
        f"https://example.org/crate/{number}",
        f"P{number:07}",
        code[:at] + wrong + code[at + 1 :],
    )
    return texts[int(dice.integers(3))]


def take(shot: Shot, code: str, dice: Dice, *, at: tuple[float, float] = (0.0, 0.0),
         stock: tuple[str, float] = TWENTY) -> bytes:  # fmt: skip
    """One label on the bench, ``at`` so many mm right of and below the picture's middle."""
    return take_card(shot, label(code, shot, dice, stock), dice, at=at)


def take_card(shot: Shot, card: Card, dice: Dice, *, at: tuple[float, float] = (0.0, 0.0)) -> bytes:
    """One card on the bench, or on a roll that lies there."""
    scene = bench(dice)
    lay(scene, shot, card, dice, at=at)
    if shot.mirrors:
        off = (np.array(at) + dice.uniform(-10, 10, 2)) * PX_PER_MM
        spot = (WIDTH / 2 + float(off[0]), HEIGHT / 2 + float(off[1]))
        size = (float(dice.uniform(8, 16)) * PX_PER_MM, float(dice.uniform(2, 4)) * PX_PER_MM)
        most = shot.mirrors * float(dice.uniform(0.5, 1))
        glare(scene, spot, size, most, float(dice.uniform(0, np.pi)))
    return lit(scene, shot, dice)


def bench(dice: Dice) -> Array:
    """Brushed steel with a few edges of other things, as light by pixel."""
    grain = dice.normal(0, 3, (HEIGHT, WIDTH // 8)).repeat(8, 1)
    rows = dice.normal(0, 9, (HEIGHT, 1)) + grain
    levels = np.clip(rows + np.linspace(95, 145, WIDTH), 0, 255).astype(np.uint8)
    picture = Image.fromarray(levels, "L")
    pen = ImageDraw.Draw(picture)
    for _edge in range(6):
        x, y = int(dice.integers(WIDTH)), int(dice.integers(HEIGHT))
        pen.rectangle((x, y, x + int(dice.integers(40, 400)), y + int(dice.integers(5, 60))),
                      fill=int(dice.integers(30, 200)))  # fmt: skip
    return (np.asarray(picture, dtype=np.float32) / 255) ** 2.2


def lay(scene: Array, shot: Shot, card: Card, dice: Dice, *, at: tuple[float, float]) -> None:
    """Put a card into the scene, turned and tilted within the shot's limits."""
    tilts = dice.uniform(-shot.tilt, shot.tilt, 2) if shot.tilt < 30 else _steep(shot.tilt, dice)
    turn = float(dice.uniform(-shot.turn, shot.turn))
    radius = float(dice.uniform(*shot.radii)) if shot.radii else inf
    pose = Pose(at, turn, (float(tilts[0]), float(tilts[1])), radius)
    if shot.radii:
        roll(scene, pose, dice, face_mm=float(dice.uniform(45, 120)))
    lay_card(scene, card, pose)


def lit(scene: Array, shot: Shot, dice: Dice) -> bytes:
    """Taken, as JPEG."""
    defocus, motion = (most * float(dice.uniform(0.5, 1)) for most in (shot.defocus, shot.motion))
    return developed(scene, dice, white=shot.white, electrons=shot.electrons, defocus=defocus,
                     motion=motion)  # fmt: skip


def label(code: str, shot: Shot, dice: Dice, stock: tuple[str, float] = TWENTY) -> Card:
    """A label as its PNG has it, dirtied as the shot says."""
    text = LabelText(code=code, headline="14-T", kind_word="Roll")
    picture = Image.open(BytesIO(label_png(text, size=stock[0], dpi=DPI))).convert("L")
    placed = lay_out(text, size_named(stock[0]))
    dots = int(placed.module_mm * DPI / MM_PER_IN + 1e-6)
    corner = tuple(round(mm * DPI / MM_PER_IN) for mm in (placed.symbol_x_mm, placed.symbol_y_mm))
    dirty(picture, shot.dirt, dice)
    if shot.covered:
        cover(picture, corner, dots, shot.covered, dice)
    return Card(_reflects(picture), stock[1] / (placed.symbol.across * dots))


def strange(text: str, dice: Dice) -> Card:
    """The QR code of something else, 20 mm with its margin."""
    level = int(
        dice.choice([qrcode.ERROR_CORRECT_L, qrcode.ERROR_CORRECT_M, qrcode.ERROR_CORRECT_H])
    )
    made = qrcode.QRCode(error_correction=level, box_size=8, border=4)
    made.add_data(text)
    picture = made.make_image().get_image().convert("L")
    return Card(_reflects(picture), 20.0 / picture.width)


def patched(first: str, second: str, dice: Dice) -> Card:
    """A torn label stuck over another: a part of one, the rest of the other."""
    over, under = (label(code, PLAIN, dice) for code in (first, second))
    cut = int(over.paper.shape[1] * dice.uniform(0.15, 0.45))
    return Card(np.hstack([over.paper[:, :cut], under.paper[:, cut:]]), under.mm)


def _reflects(picture: Image.Image) -> Array:
    return INK + (PAPER - INK) * np.asarray(picture, dtype=np.float32) / 255


def _steep(most: float, dice: Dice) -> Array:
    """Tilted for certain: one way by two thirds of the limit or more."""
    steep = dice.uniform(2 * most / 3, most) * dice.choice([-1, 1])
    return dice.permutation([steep, dice.uniform(-10, 10)])


def dirty(picture: Image.Image, share: float, dice: Dice) -> None:
    """Specks over so much of the label, a smear of oil across it that dims what is under it, and
    scratches. None where the share is 0."""
    if not share:
        return
    smear = Image.new("L", picture.size, 255)
    pen = ImageDraw.Draw(smear)
    y = float(dice.uniform(0, picture.height))
    pen.line((0, y, picture.width, float(dice.uniform(0, picture.height))),
             fill=int(dice.integers(110, 190)), width=picture.height // 3)  # fmt: skip
    picture.paste(ImageChops.multiply(picture, smear.filter(ImageFilter.GaussianBlur(DPI // 40))))
    pen = ImageDraw.Draw(picture)
    left = share * picture.width * picture.height
    while left > 0:
        radius = float(dice.uniform(0.1, 0.4)) * DPI / MM_PER_IN
        x, y = dice.uniform(0, picture.width), dice.uniform(0, picture.height)
        shade = int(dice.choice([20, 60, 90, 235]))
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=shade)
        left -= 3.14 * radius**2
    for _scratch in range(2):
        ends = [float(dice.uniform(0, side)) for side in (*picture.size, *picture.size)]
        pen.line(ends, fill=int(dice.choice([30, 220])), width=DPI // 150)


def cover(picture: Image.Image, corner: tuple[int, ...], dots: int, modules: float,
          dice: Dice) -> None:  # fmt: skip
    """A lump of grease or a stuck chip over the lower right of the symbol, where it has no finder:
    so many modules along its side, of any shade."""
    side = modules * dots
    most = 21 * dots - side
    least = min(9 * dots, most)
    x, y = (corner[axis] + float(dice.uniform(least, most)) for axis in (0, 1))
    shade = int(dice.choice([10, 70, 200]))
    ImageDraw.Draw(picture).ellipse(
        (x - 0.06 * side, y - 0.06 * side, x + 1.06 * side, y + 1.06 * side), fill=shade
    )


def film(path: Path, pictures: list[bytes], *, each: int = 15) -> Path:
    """A motion JPEG that Chromium shows as a camera, over and over: each picture so many times."""
    path.write_bytes(b"".join(picture * each for picture in pictures))
    return path


def main(folder: Path, each: int) -> None:
    """The frames as files: kind, number, code."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, frame in enumerate([*frames(each), *traps(each)]):
        name = f"{frame.kind.replace(' ', '-')}-{number:03}-{'-'.join(frame.codes) or 'none'}.jpg"
        (folder / name).write_bytes(frame.jpeg)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 3)
