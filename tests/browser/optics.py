"""How a card in front of a phone's camera falls on its sensor: rays, curved steel, light, grain.

The camera is taken as a common phone's main one, 70° across the 1920 px of a 1080p stream: the
wide end of what such cameras have, so the fewest pixels to a millimetre. At 25 cm that gives
1371 px / 250 mm = 5.48 px/mm. A version-1 symbol is 21 modules and 4 of margin on each side, 29 in
all: 20 mm with its margin are 110 px, 3.8 px to a module; tilted by 45°, 2.7 px. Light is summed
linearly and coded as sRGB at the end. The figures for poor light are our own estimate: some 20 lux,
white paper, f/1.8, a 30th of a second and a small sensor leave about 200 electrons to a pixel.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from math import inf, radians, tan

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.signal import fftconvolve

WIDTH, HEIGHT = 1920, 1080
ACROSS_DEG = 70.0
FAR_MM = 250.0
PX_FOCAL = WIDTH / 2 / tan(radians(ACROSS_DEG / 2))
PX_PER_MM = PX_FOCAL / FAR_MM
FINER = 3
"""A pixel is the mean of 3 × 3 rays."""
READ_NOISE = 3.0
LENS_BLUR = 0.6

Dice = np.random.Generator
Array = np.ndarray


@dataclass(frozen=True)
class Card:
    """Something flat and printed: reflectance 0 to 1, rows down, and a dot's size in mm."""

    paper: Array
    mm: float

    @property
    def across_mm(self) -> tuple[float, float]:
        return self.paper.shape[1] * self.mm, self.paper.shape[0] * self.mm


@dataclass(frozen=True)
class Pose:
    """Where a card is: its middle so many mm right of and below the axis, 25 cm away; turned on
    its surface and the surface tilted, degrees. ``radius_mm``: of the roll it is wrapped on."""

    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    tilts: tuple[float, float] = (0.0, 0.0)
    radius_mm: float = inf

    def lean(self) -> Array:
        """From the surface's own axes to the camera's."""
        cx, cy = np.cos(np.radians(self.tilts))
        sx, sy = np.sin(np.radians(self.tilts))
        across = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
        return across @ np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])

    def outline(self, card: Card) -> Array:
        """Points over the whole card as the picture has them, px."""
        width, height = card.across_mm
        u, v = np.meshgrid(np.linspace(-width / 2, width / 2, 9),
                           np.linspace(-height / 2, height / 2, 9))  # fmt: skip
        cos, sin = np.cos(np.radians(self.turn)), np.sin(np.radians(self.turn))
        x, along = cos * u - sin * v, sin * u + cos * v
        y, z = along, np.zeros_like(along)
        if self.radius_mm < inf:
            angle = along / self.radius_mm
            y, z = self.radius_mm * np.sin(angle), self.radius_mm * (1 - np.cos(angle))
        there = np.stack([x, y, z], -1) @ self.lean().T + np.array([*self.at, FAR_MM])
        return there[..., :2] / there[..., 2:] * PX_FOCAL + np.array([WIDTH / 2, HEIGHT / 2])

    def hit(self, x: Array, y: Array) -> tuple[Array, Array, Array, Array]:
        """Where the rays through these pixels meet the surface: mm along it, as the card lies;
        how squarely it faces the camera there, 0 to 1; and whether they meet it at all."""
        lean = self.lean()
        rays = np.stack([(x - WIDTH / 2) / PX_FOCAL, (y - HEIGHT / 2) / PX_FOCAL,
                         np.ones_like(x)], -1) @ lean  # fmt: skip
        begin = -np.array([*self.at, FAR_MM]) @ lean
        if self.radius_mm == inf:
            far = -begin[2] / rays[..., 2]
            across, along = (begin[axis] + far * rays[..., axis] for axis in (0, 1))
            squarely = rays[..., 2] / np.linalg.norm(rays, axis=-1)
            meets = np.ones_like(x, bool)
        else:
            across, along, squarely, meets = self._roll_hit(begin, rays)
        cos, sin = np.cos(np.radians(self.turn)), np.sin(np.radians(self.turn))
        return cos * across + sin * along, cos * along - sin * across, squarely, meets

    def _roll_hit(self, begin: Array, rays: Array) -> tuple[Array, Array, Array, Array]:
        radius = self.radius_mm
        deep = begin[2] - radius
        a = rays[..., 1] ** 2 + rays[..., 2] ** 2
        b = begin[1] * rays[..., 1] + deep * rays[..., 2]
        inside = b**2 - a * (begin[1] ** 2 + deep**2 - radius**2)
        far = (-b - np.sqrt(np.maximum(inside, 0))) / a
        sideways = np.clip((begin[1] + far * rays[..., 1]) / radius, -1, 1)
        squarely = np.sqrt(1 - sideways**2)
        return begin[0] + far * rays[..., 0], radius * np.arcsin(sideways), squarely, inside > 0


def lay_card(scene: Array, card: Card, pose: Pose) -> None:
    """Into the scene, which is light by pixel; where the card leans away it is darker."""
    points = pose.outline(card).reshape(-1, 2)
    left, top = np.maximum(points.min(0).astype(int) - 2, 0)
    right, low = np.minimum(points.max(0).astype(int) + 3, (WIDTH, HEIGHT))
    if right <= left or low <= top:
        return
    fine = (np.arange(FINER) + 0.5) / FINER
    x, y = np.meshgrid((np.arange(left, right)[:, None] + fine).ravel(),
                       (np.arange(top, low)[:, None] + fine).ravel())  # fmt: skip
    u, v, squarely, meets = pose.hit(x, y)
    rows, columns = card.paper.shape
    spots = [v / card.mm + rows / 2 - 0.5, u / card.mm + columns / 2 - 0.5]
    on = meets & (np.abs(v) < rows * card.mm / 2) & (np.abs(u) < columns * card.mm / 2)
    seen = map_coordinates(card.paper, spots, order=1, mode="nearest") * on * squarely
    shape = (low - top, FINER, right - left, FINER)
    covers = on.reshape(shape).mean((1, 3), dtype=np.float32)
    there = scene[top:low, left:right]
    there *= 1 - covers
    there += seen.reshape(shape).mean((1, 3))


def roll(scene: Array, pose: Pose, dice: Dice, *, face_mm: float) -> None:
    """A turned roll of bright steel that the pose's surface is part of, with the lamp's streak."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    flat = Pose(pose.at, 0.0, pose.tilts, pose.radius_mm)
    across, along, squarely, meets = flat.hit(x + 0.5, y + 0.5)
    on = meets & (np.abs(across) < face_mm / 2)
    streak = float(dice.uniform(-0.6, 0.6)) * pose.radius_mm
    shine = 0.9 * np.exp(-(((along - streak) / (0.12 * pose.radius_mm)) ** 2))
    turned = dice.normal(0, 0.03, 4096)[np.clip(across * 20 + 2048, 0, 4095).astype(int)]
    scene[on] = np.clip((0.18 * squarely + shine + turned)[on], 0.01, 1.5)


def glare(scene: Array, middle: tuple[float, float], size: tuple[float, float], most: float,
          turn: float) -> None:  # fmt: skip
    """A lamp mirrored in the card's gloss: added light, px from the upper left, as a soft bar."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    cos, sin = np.cos(turn), np.sin(turn)
    u = (cos * (x - middle[0]) + sin * (y - middle[1])) / size[0]
    v = (cos * (y - middle[1]) - sin * (x - middle[0])) / size[1]
    scene += most * np.exp(-((u**2 + v**2) ** 2))


def developed(
    scene: Array, dice: Dice, *, white: float, electrons: float, defocus: float, motion: float
) -> bytes:
    """Through the lens onto the sensor, as JPEG. ``white``: what paper in full light comes to, 0 to
    1, linear; ``electrons`` that make it; px of the circle of confusion's radius and of the hand's
    way while the picture is taken."""
    falloff = np.linspace(1.0, dice.uniform(0.6, 0.9), HEIGHT, dtype=np.float32)[:, None]
    light = fftconvolve(scene * falloff, _smear(defocus, motion, dice), mode="same")
    light = gaussian_filter(light, LENS_BLUR)
    count = np.maximum(light, 0) * np.float32(electrons)
    spread = np.sqrt(count + np.float32(READ_NOISE**2))
    count += dice.standard_normal(count.shape, dtype=np.float32) * spread
    linear = np.clip(count * np.float32(white / electrons), 0, 1)
    coded = np.where(linear < 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    buffer = BytesIO()
    levels = (255 * coded + 0.5).astype(np.uint8)
    Image.fromarray(levels, "L").convert("RGB").save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def _smear(defocus: float, motion: float, dice: Dice) -> Array:
    """A disc drawn along a line, as weights that sum to one."""
    around, half = float(dice.uniform(0, np.pi)), int(defocus + motion / 2) + 1
    side = 2 * half + 1
    fine = (np.arange(side * 5) + 0.5) / 5 - side / 2
    x, y = np.meshgrid(fine, fine)
    weights = np.zeros_like(x)
    for step in np.linspace(-motion / 2, motion / 2, 9 if motion else 1):
        there = np.hypot(x - step * np.cos(around), y - step * np.sin(around))
        weights += there <= max(defocus, 0.3)
    kernel = weights.reshape(side, 5, side, 5).sum((1, 3)).astype(np.float32)
    return kernel / kernel.sum()
