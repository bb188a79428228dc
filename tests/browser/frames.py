"""Pictures as a phone's camera sees our own labels: drawn, tilted, lit, dirtied, with known codes.

A 38 × 19 mm label, whose symbol is 15 mm with its margin, at 25 cm: the camera is taken as 1920 px
across 63°, the main camera of a common phone in 1080p video, so 6.3 px to a millimetre. Everything
comes from the seed: the same frames every time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from math import radians, tan
from pathlib import Path

import numpy as np
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from tooling.engineering.codes import make_code
from tooling.paper.label_layout import LabelText
from tooling.paper.labels import label_png

WIDTH, HEIGHT = 1920, 1080
ACROSS_DEG = 63.0
FAR_MM = 250.0
PX_FOCAL = WIDTH / 2 / tan(radians(ACROSS_DEG / 2))
PX_PER_MM = PX_FOCAL / FAR_MM
DPI = 600
LABEL_MM = (38.0, 19.0)

Dice = np.random.Generator


@dataclass(frozen=True)
class Frame:
    """One picture: what kind, as JPEG, and the code on its label."""

    kind: str
    code: str
    jpeg: bytes


@dataclass(frozen=True)
class Shot:
    """How one kind is taken. Angles in degrees, light from 0 to 1, blur and noise in px and levels,
    specks of dirt as a share of the label."""

    turn: float = 180.0
    tilt: float = 12.0
    light: float = 0.85
    blur: float = 0.7
    noise: float = 3.0
    dirt: float = 0.0


KINDS = {
    "sharp": Shot(),
    "tilted": Shot(tilt=45.0, blur=0.9),
    "dim": Shot(tilt=20.0, light=0.2, blur=1.1, noise=5.0),
    "dirty": Shot(tilt=20.0, light=0.6, blur=0.9, dirt=0.008),
}


def frames(each: int, *, seed: int = 6) -> Iterator[Frame]:
    """So many frames of every kind."""
    dice = np.random.default_rng(seed)
    for kind, shot in KINDS.items():
        for _number in range(each):
            code = a_code(dice)
            yield Frame(kind, code, take(shot, code, dice))


def a_code(dice: Dice) -> str:
    """Some code that is issued."""
    while True:
        code = make_code("RSDB"[int(dice.integers(4))], int(dice.integers(34**6)))
        if code:
            return code


def take(shot: Shot, code: str, dice: Dice, *, at: tuple[float, float] = (0.0, 0.0)) -> bytes:
    """One label on the bench, ``at`` so many mm right of and below the picture's middle."""
    picture = bench(dice)
    lay(picture, shot, code, dice, at=at)
    return lit(picture, shot, dice)


def bench(dice: Dice) -> Image.Image:
    """Brushed steel with a few edges of other things."""
    rows = dice.normal(0, 9, (HEIGHT, 1)) + dice.normal(0, 3, (HEIGHT, WIDTH // 8)).repeat(8, 1)
    slope = np.linspace(-25, 25, WIDTH)
    picture = Image.fromarray(np.clip(120 + rows + slope, 0, 255).astype(np.uint8), "L")
    pen = ImageDraw.Draw(picture)
    for _edge in range(6):
        x, y = int(dice.integers(WIDTH)), int(dice.integers(HEIGHT))
        pen.rectangle((x, y, x + int(dice.integers(40, 400)), y + int(dice.integers(5, 60))),
                      fill=int(dice.integers(30, 200)))  # fmt: skip
    return picture


def lay(
    picture: Image.Image, shot: Shot, code: str, dice: Dice, *, at: tuple[float, float]
) -> None:
    """Put a label into the picture, turned and tilted within the shot's limits."""
    text = LabelText(code=code, headline="14-T", kind_word="Roll")
    label = Image.open(BytesIO(label_png(text, size="38x19", dpi=DPI))).convert("L")
    dirty(label, shot.dirt, dice)
    tilts = dice.uniform(-shot.tilt, shot.tilt, 2) if shot.tilt < 30 else _steep(shot.tilt, dice)
    turn = _turned(radians(float(dice.uniform(-shot.turn, shot.turn))), *np.radians(tilts))
    corners = _corners(turn, at)
    coefficients = _perspective(corners, label.size)
    laid = label.transform(picture.size, Image.Transform.PERSPECTIVE, coefficients,
                           Image.Resampling.BICUBIC)  # fmt: skip
    mask = Image.new("L", label.size, 255).transform(
        picture.size, Image.Transform.PERSPECTIVE, coefficients, Image.Resampling.BILINEAR
    )
    picture.paste(laid, (0, 0), mask)


def _steep(most: float, dice: Dice) -> np.ndarray:
    """Tilted for certain: one way by two thirds of the limit or more."""
    steep = dice.uniform(2 * most / 3, most) * dice.choice([-1, 1])
    return dice.permutation([steep, dice.uniform(-10, 10)])


def dirty(label: Image.Image, share: float, dice: Dice) -> None:
    """Specks over so much of the label, a smear of oil across it that dims what is under it, and
    scratches. None where the share is 0."""
    if not share:
        return
    smear = Image.new("L", label.size, 255)
    pen = ImageDraw.Draw(smear)
    y = float(dice.uniform(0, label.height))
    pen.line((0, y, label.width, float(dice.uniform(0, label.height))),
             fill=int(dice.integers(110, 190)), width=label.height // 3)  # fmt: skip
    label.paste(ImageChops.multiply(label, smear.filter(ImageFilter.GaussianBlur(DPI // 40))))
    pen = ImageDraw.Draw(label)
    left = share * label.width * label.height
    while left > 0:
        radius = float(dice.uniform(0.1, 0.4)) * DPI / 25.4
        x, y = dice.uniform(0, label.width), dice.uniform(0, label.height)
        shade = int(dice.choice([20, 60, 90, 235]))
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=shade)
        left -= 3.14 * radius**2
    for _scratch in range(2):
        ends = [float(dice.uniform(0, side)) for side in (*label.size, *label.size)]
        pen.line(ends, fill=int(dice.choice([30, 220])), width=DPI // 150)


def lit(picture: Image.Image, shot: Shot, dice: Dice) -> bytes:
    """Out of the lens, onto the sensor, through its noise."""
    seen = np.asarray(picture.filter(ImageFilter.GaussianBlur(shot.blur)), dtype=np.float32)
    falloff = np.linspace(1.0, dice.uniform(0.6, 0.9), HEIGHT, dtype=np.float32)[:, None]
    grain = dice.standard_normal(seen.shape, dtype=np.float32) * shot.noise
    noisy = seen * np.float32(shot.light) * falloff + grain
    buffer = BytesIO()
    levels = np.clip(noisy, 0, 255).astype(np.uint8)
    Image.fromarray(levels, "L").convert("RGB").save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def film(path: Path, pictures: list[bytes], *, each: int = 15) -> Path:
    """A motion JPEG that Chromium shows as a camera, over and over: each picture so many times."""
    path.write_bytes(b"".join(picture * each for picture in pictures))
    return path


def _turned(around: float, across: float, along: float) -> np.ndarray:
    cz, sz, cx, sx, cy, sy = (f(a) for a in (around, across, along) for f in (np.cos, np.sin))
    about_z = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    about_y = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    return about_x @ about_y @ about_z


def _corners(turn: np.ndarray, at: tuple[float, float]) -> np.ndarray:
    """Where the label's corners fall in the picture, px: upper left, then clockwise."""
    x, y = LABEL_MM[0] / 2, LABEL_MM[1] / 2
    flat = np.array([[-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0]])
    there = flat @ turn.T + np.array([*at, FAR_MM])
    return there[:, :2] / there[:, 2:] * PX_FOCAL + np.array([WIDTH / 2, HEIGHT / 2])


def _perspective(corners: np.ndarray, size: tuple[int, int]) -> list[float]:
    """Pillow's eight numbers, from the picture back to the label."""
    width, height = size
    rows, right = [], []
    flat = [(0, 0), (width, 0), (width, height), (0, height)]
    for (x, y), (u, v) in zip(corners, flat, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return [float(each) for each in np.linalg.solve(np.array(rows), np.array(right))]
