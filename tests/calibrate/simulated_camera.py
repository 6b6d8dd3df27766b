"""A phone's camera before a radio: where the screen falls in its pictures, and how much light of it reaches each row.

A pinhole camera (Hartley and Zisserman 2004, 6.1), a rolling shutter that reads a row after the other, a backlight
that is dimmed by switching it on and off (PWM), reflections, a hand, noise, and a limited range of light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]


@dataclass(frozen=True)
class Pose:
    """How the camera is held. `share` is the screen's height in shares of the film's, angles are in degrees."""

    share: float = 0.7
    yaw: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    across: float = 0.0
    down: float = 0.0
    """Where the screen's middle is, in shares of the room that is left beside and below it, -1 to 1."""


@dataclass(frozen=True)
class Light:
    """What the camera makes of light. `blur_px` and `noise` are standard deviations, in px and levels of 255."""

    gain: float = 1.0
    drift: float = 0.0
    """The exposure goes up and down by this share."""
    blur_px: float = 0.6
    noise: float = 2.0
    ambient: float = 0.002
    exposure_s: float = 0.012
    readout_s: float = 0.015
    scan_s: float = 1 / 60
    """How long the screen takes to bring a picture from its top to its foot."""
    pwm_hz: float = 0.0
    pwm_on: float = 1.0
    """The share of the time that the backlight is on."""


@dataclass(frozen=True)
class Disturbed:
    """What goes wrong: shake in px of the film, glare over a share of the glass, a hand for some seconds."""

    shake_px: float = 0.0
    glare_share: float = 0.0
    glare_light: float = 0.6
    hand_at_s: float = -99.0
    hand_s: float = 0.0
    seed: int = 0


def screen_at(pose: Pose, panel: tuple[int, int], film: tuple[int, int]) -> F64:
    """Return the homography from the panel's px to the film's."""
    (width, height), (wide, tall) = panel, film
    focal = 0.9 * max(wide, tall)
    yaw, pitch, roll = (math.radians(angle) for angle in (pose.yaw, pose.pitch, pose.roll))
    turn_y = np.array([[math.cos(yaw), 0, math.sin(yaw)], [0, 1, 0], [-math.sin(yaw), 0, math.cos(yaw)]])
    turn_x = np.array([[1, 0, 0], [0, math.cos(pitch), -math.sin(pitch)], [0, math.sin(pitch), math.cos(pitch)]])
    turn_z = np.array([[math.cos(roll), -math.sin(roll), 0], [math.sin(roll), math.cos(roll), 0], [0, 0, 1]])
    turned = turn_z @ turn_x @ turn_y
    distance = focal * height / (pose.share * tall)
    lens = np.array([[focal, 0, wide / 2], [0, focal, tall / 2], [0, 0, 1]])
    centred = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    plane = lens @ np.column_stack([turned[:, 0], turned[:, 1], [0, 0, distance]]) @ centred
    corners = _through(plane, np.array([(0, 0), (width, 0), (width, height), (0, height)], float))
    least, most = corners.min(axis=0), corners.max(axis=0)
    size = np.maximum(most - least, 1e-9)
    fits = min(1.0, float((0.98 * np.array(film) / size).min()))  # nearer than the film is high, it would be cut off
    middle = (least + most) / 2
    room = np.maximum(0.0, np.array(film) - fits * size) / 2 - 0.01 * np.array(film)
    to = np.array(film) / 2 + np.array([pose.across, pose.down]) * np.maximum(0.0, room)
    move = np.array([[fits, 0, to[0] - fits * middle[0]], [0, fits, to[1] - fits * middle[1]], [0, 0, 1]])
    return np.asarray(move @ plane, np.float64)


def _through(homography: F64, points: F64) -> F64:
    turned = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(turned[:, :2] / turned[:, 2:], np.float64)


LINEAR = ((np.arange(256) / 255) ** 2.2).astype(np.float32)
"""Light for each level: a display of gamma 2.2."""

_LEVELS = (255 * (np.arange(4097) / 4096) ** (1 / 2.2)).astype(np.float32)


class Camera:
    """Takes pictures of a panel. `film` is the size of its pictures in px."""

    def __init__(self, pose: Pose, light: Light, disturbed: Disturbed, panel: tuple[int, int], film: tuple[int, int]):
        self.light, self.disturbed, self.film, self.panel = light, disturbed, film, panel
        self.screen = screen_at(pose, panel, film)
        self._chance = np.random.default_rng(disturbed.seed)
        self._phases = self._chance.uniform(0, 2 * math.pi, (3, 4))
        corners = self._corners(self.screen)
        self._red = max(1, int(panel[1] / max(1.0, corners[:, 1].max() - corners[:, 1].min())))
        self._small: dict[str, Image.Image] = {}
        self._noise = self._chance.normal(0, light.noise, (film[1] + 64, film[0] + 64)).astype(np.float32)
        self._behind = self._background()
        self._glare = self._reflection(corners) if disturbed.glare_share else None

    def _corners(self, screen: F64) -> F64:
        width, height = self.panel
        return _through(screen, np.array([(0, 0), (width, 0), (width, height), (0, height)], float))

    def _background(self) -> F32:
        """A dark dashboard with some lighter things in it."""
        wide, tall = self.film
        picture = Image.new("L", (wide // 4 + 8, tall // 4 + 8), 22)
        draw = ImageDraw.Draw(picture)
        for _ in range(14):
            x, y = self._chance.uniform(0, wide / 4), self._chance.uniform(0, tall / 4)
            w, h = self._chance.uniform(4, 50, 2)
            draw.rectangle((x, y, x + w, y + h), int(self._chance.integers(8, 110)))
        made = picture.filter(ImageFilter.GaussianBlur(1.5)).resize((wide + 32, tall + 32))
        return LINEAR[np.asarray(made)] * np.float32(0.25 + 60 * self.light.ambient)

    def _reflection(self, corners: F64) -> F32:
        """An ellipse of light over a share of the glass, softer at its edge."""
        wide, tall = self.film
        (left, top), (right, foot) = corners.min(axis=0), corners.max(axis=0)
        ratio = self._chance.uniform(0.5, 2.0)
        area = self.disturbed.glare_share * (right - left) * (foot - top)
        half_w = min(math.sqrt(area * ratio / math.pi), 0.5 * (right - left))
        half_h = min(area / math.pi / half_w, 0.5 * (foot - top))
        x, y = self._chance.uniform(left + half_w, right - half_w), self._chance.uniform(top + half_h, foot - half_h)
        mask = Image.new("L", self.film, 0)
        ImageDraw.Draw(mask).ellipse((x - half_w, y - half_h, x + half_w, y + half_h), 255)
        soft = mask.filter(ImageFilter.GaussianBlur(0.05 * min(wide, tall)))
        return np.asarray(soft, np.float32) / 255 * np.float32(self.disturbed.glare_light)

    # -- one picture -----------------------------------------------------------------------------------

    def picture(self, at_s: float, shown: Sequence[tuple[float, str, Image.Image]]) -> NDArray[np.uint8]:
        """Return the picture whose first row is exposed from `at_s`, in levels of 255.

        `shown` are what the screen shows: from when on, its name, its picture (L). The first is shown since before.
        """
        wide, tall = self.film
        shake_x, shake_y, turn, speed = self._shake(at_s)
        screen = np.array([[1, -turn, shake_x], [turn, 1, shake_y], [0, 0, 1]]) @ self.screen
        corners = self._corners(screen)
        x0, y0 = np.floor(np.maximum(corners.min(axis=0) - 3, 0)).astype(int)
        x1, y1 = np.ceil(np.minimum(corners.max(axis=0) + 3, [wide, tall])).astype(int)
        light = self._behind[16 + int(shake_y) :, 16 + int(shake_x) :][:tall, :wide].copy()
        mask = self._warped(Image.new("L", (64, 64), 255), self._onto(screen, 64, 64), (x0, y0, x1, y1))
        inside = np.asarray(mask, np.float32) / 255
        backlight = self._backlight(at_s, tall)[y0:y1, None]
        on_screen = np.zeros((y1 - y0, x1 - x0), np.float32)
        for share, name, picture in self._shares(at_s, shown, corners):
            if name not in self._small:
                self._small[name] = picture.reduce(self._red)
            small = self._small[name]
            seen = self._warped(small, self._onto(screen, *small.size), (x0, y0, x1, y1))
            on_screen += LINEAR[np.asarray(seen)] * share[y0:y1, None].astype(np.float32)
        region = light[y0:y1, x0:x1]
        region *= 1 - inside
        region += inside * (on_screen * backlight + np.float32(0.002 + self.light.ambient))
        if self._glare is not None:
            region += inside * self._glare[y0:y1, x0:x1]
        self._hand(light, at_s, corners)
        return self._developed(light, at_s, speed)

    def _onto(self, screen: F64, wide: int, tall: int) -> F64:
        """The homography for a picture of the whole panel that has been made smaller or larger."""
        return np.asarray(screen @ np.diag([self.panel[0] / wide, self.panel[1] / tall, 1.0]), np.float64)

    def _warped(self, picture: Image.Image, screen: F64, box: tuple[int, int, int, int]) -> Image.Image:
        x0, y0, x1, y1 = (int(edge) for edge in box)
        back = np.linalg.inv(screen) @ np.array([[1, 0, x0], [0, 1, y0], [0, 0, 1]])
        numbers = (back / back[2, 2]).ravel()[:8].tolist()
        way = Image.Resampling.BILINEAR
        return picture.transform((x1 - x0, y1 - y0), Image.Transform.PERSPECTIVE, numbers, way)

    def _shares(
        self, at_s: float, shown: Sequence[tuple[float, str, Image.Image]], corners: F64
    ) -> list[tuple[F64, str, Image.Image]]:
        """Return for each picture the share of the exposure in which each row of the film saw it."""
        tall = self.film[1]
        rows = np.arange(tall)
        top, foot = corners[:, 1].min(), corners[:, 1].max()
        late = self.light.scan_s * np.clip((rows - top) / max(1.0, foot - top), 0, 1)
        opens = at_s + self.light.readout_s * rows / tall
        shuts = opens + self.light.exposure_s
        found = []
        for number, (since, name, picture) in enumerate(shown):
            begins = opens if number == 0 else np.maximum(opens, since + late)
            ends = np.minimum(shuts, shown[number + 1][0] + late) if number + 1 < len(shown) else shuts
            found.append((np.maximum(0.0, ends - begins) / self.light.exposure_s, name, picture))
        return [each for each in found if each[0].max() > 0]

    def _backlight(self, at_s: float, tall: int) -> F32:
        """Return the light of the backlight that each row gets, 1 for one that is always on."""
        if not self.light.pwm_hz:
            return np.ones(tall, np.float32)

        def lit(until: F64) -> F64:
            """Seconds of light from time 0 on."""
            turns = until * self.light.pwm_hz
            whole = np.floor(turns)
            return (whole * self.light.pwm_on + np.minimum(turns - whole, self.light.pwm_on)) / self.light.pwm_hz

        opens = at_s + 100 + self.light.readout_s * np.arange(tall) / tall
        return np.asarray((lit(opens + self.light.exposure_s) - lit(opens)) / self.light.exposure_s, np.float32)

    def _shake(self, at_s: float) -> tuple[float, float, float, float]:
        """Return shift (px), turn (radians) and speed (px/s): a hand's tremor is below 12 Hz (common practice, no
        source)."""
        shake = self.disturbed.shake_px
        if not shake:
            return 0.0, 0.0, 0.0, 0.0
        hertz, sizes = np.array([0.6, 1.7, 4.1, 9.0]), np.array([0.6, 0.3, 0.12, 0.05])
        waves = [float((sizes * np.sin(2 * math.pi * hertz * at_s + phase)).sum()) for phase in self._phases]
        speed = [
            float((2 * math.pi * hertz * sizes * np.cos(2 * math.pi * hertz * at_s + p)).sum()) for p in self._phases
        ]
        return shake * waves[0], shake * waves[1], 0.001 * shake * waves[2], shake * math.hypot(*speed[:2])

    def _hand(self, light: F32, at_s: float, corners: F64) -> None:
        """Let a hand come in from below, stay, and go."""
        since = at_s - self.disturbed.hand_at_s
        if not 0 <= since <= self.disturbed.hand_s:
            return
        (left, top), (right, foot) = corners.min(axis=0), corners.max(axis=0)
        come = min(1.0, since / 0.08, (self.disturbed.hand_s - since) / 0.08)
        reach = foot - come * 0.75 * (foot - top)
        middle = left + (0.3 + 0.4 * (self.disturbed.seed % 7) / 6) * (right - left)
        half = 0.3 * (right - left)
        mask = Image.new("L", self.film, 0)
        draw = ImageDraw.Draw(mask)
        draw.rounded_rectangle((middle - half, reach, middle + half, self.film[1] + 50), half * 0.6, 255)
        for finger in range(4):
            x = middle - half + (finger + 0.5) * half / 2
            draw.ellipse((x - half / 5, reach - half * 0.7, x + half / 5, reach + half * 0.6), 255)
        over = np.asarray(mask, np.float32) / 255
        light *= 1 - over
        light += over * np.float32(0.012 + 2 * self.light.ambient)

    def _developed(self, light: F32, at_s: float, speed: float) -> NDArray[np.uint8]:
        gain = self.light.gain * (1 + self.light.drift * math.sin(1.3 * at_s))
        levels = _LEVELS[np.clip(light * np.float32(4096 * gain), 0, 4096).astype(np.uint16)]
        blur = math.hypot(self.light.blur_px, speed * self.light.exposure_s / math.sqrt(12))
        made = np.asarray(Image.fromarray(levels.astype(np.uint8)).filter(ImageFilter.GaussianBlur(blur)), np.float32)
        x, y = self._chance.integers(0, 64, 2)
        made = made + self._noise[y : y + self.film[1], x : x + self.film[0]]
        return np.asarray(np.clip(made, 0, 255), np.uint8)
