"""Films of simulated starts, as a phone would take and pack them; everything follows from a seed.

The truth comes with each film: the numbers that the screen showed while each film frame was taken.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calibrate.simulated_camera import Camera, Disturbed, Light, Pose
from calibrate.simulated_start import Key, Start

TICKS = 90_000
"""Time stamps a second, as phones write them (common practice, no source)."""


@dataclass(frozen=True)
class Filming:
    """How a film is taken. `bits_a_px` a pixel and film frame: phones pack 1080p at 30 a second with 10 to 20 Mbit/s,
    0.16 to 0.32 (common practice, no source)."""

    pose: Pose = field(default_factory=Pose)
    light: Light = field(default_factory=Light)
    disturbed: Disturbed = field(default_factory=Disturbed)
    size: tuple[int, int] = (640, 360)
    fps: float = 30.0
    jitter_s: float = 0.0
    dropped: float = 0.0
    """Share of the film frames that the phone left out: a variable rate."""
    codec: str = "libx264"
    bits_a_px: float = 0.16
    before_s: float = 0.3
    after_s: float = 1.0
    """How long the film goes on after the home screen."""


@dataclass(frozen=True)
class Seen:
    """The truth of one film frame: its time stamp, and what the screen showed while it was exposed."""

    at_s: float
    keys: frozenset[Key]


@dataclass(frozen=True)
class Filmed:
    """A film and its truth. `offset_s` is the film's time at which work on the first frame began."""

    path: Path
    start: Start
    seen: tuple[Seen, ...]
    offset_s: float

    def numbers(self, number: int) -> frozenset[int]:
        """Return the numbers that film frame `number` may be read as."""
        numbers = self.start.stick.numbers
        return frozenset(numbers[key] for key in self.seen[number].keys if key in numbers)


def film(start: Start, taken: Filming, path: Path) -> Filmed:
    """Film the start into `path`."""
    panel = start.stick.pictures["logo"].shape
    camera = Camera(taken.pose, taken.light, taken.disturbed, (panel[1], panel[0]), taken.size)
    greys = {key: _grey(picture, start) for key, picture in start.stick.pictures.items()}
    since = [at for at, _ in start.shows]
    begin = since[0] - taken.before_s + 0.2
    times = list(_times(taken, begin, start.home_s + taken.after_s))
    seen = []
    with av.open(str(path), "w") as container:
        stream = _stream(container, taken)
        for at_s in times:
            open_s = taken.light.exposure_s + taken.light.readout_s
            first = max(0, bisect_right(since, at_s - taken.light.scan_s) - 1)
            last = max(0, bisect_right(since, at_s + open_s) - 1)
            shown = [(start.shows[i][0], start.shows[i][1], greys[start.shows[i][1]]) for i in range(first, last + 1)]
            frame = _frame(camera.picture(at_s, shown))
            frame.pts = round((at_s - times[0]) * TICKS)
            frame.time_base = Fraction(1, TICKS)
            container.mux(stream.encode(frame))
            seen.append(Seen(frame.pts / TICKS, frozenset(name for _, name, _ in shown)))
        container.mux(stream.encode(None))
    return Filmed(path, start, tuple(seen), -times[0])


def _grey(picture: NDArray[np.uint8], start: Start) -> Image.Image:
    """Return the picture as the panel shows it, in grey: a 16-bit panel keeps the highest 5, 6 and 5 bits."""
    if start.does.sixteen_bits:
        red, green, blue = np.moveaxis(picture, -1, 0)
        kept = [red & 0xF8 | red >> 5, green & 0xFC | green >> 6, blue & 0xF8 | blue >> 5]
        picture = np.stack(kept, axis=-1)
    return Image.fromarray(picture).convert("L")


def _times(taken: Filming, begin: float, end: float) -> Iterator[float]:
    chance = np.random.default_rng(taken.disturbed.seed + 1)
    at, last = begin, begin - 1.0
    while at < end:
        now = max(last + 0.004, at + (chance.uniform(-1, 1) * taken.jitter_s if taken.jitter_s else 0.0))
        if at == begin or chance.random() >= taken.dropped:
            yield now
            last = now
        at += 1 / taken.fps


def _stream(container: av.container.OutputContainer, taken: Filming) -> av.VideoStream:
    quick = {"libx264": "superfast", "libx265": "ultrafast"}[taken.codec]
    options = {"preset": quick, "tune": "zerolatency", "threads": "1"}
    if taken.codec == "libx265":
        options["x265-params"] = "log-level=none:pools=none:frame-threads=1"
    stream = container.add_stream(taken.codec, rate=round(taken.fps), options=options)
    stream.width, stream.height = taken.size
    stream.pix_fmt = "yuv420p"
    stream.bit_rate = round(taken.bits_a_px * taken.size[0] * taken.size[1] * taken.fps)
    stream.codec_context.time_base = Fraction(1, TICKS)
    stream.time_base = Fraction(1, TICKS)
    return stream


def _frame(grey: NDArray[np.uint8]) -> av.VideoFrame:
    """Return a frame in YUV 4:2:0 without colour, its light from 16 to 235."""
    tall, wide = grey.shape
    luma = (16 + grey.astype(np.uint16) * 219 // 255).astype(np.uint8)
    planes = np.concatenate([luma, np.full((tall // 2, wide), 128, np.uint8)])
    return av.VideoFrame.from_ndarray(planes, format="yuv420p")


# -- by chance ----------------------------------------------------------------------------------------

HARDSHIPS = (
    "plain",
    "angle",
    "blur",
    "noise",
    "exposure",
    "pwm",
    "rolling",
    "rate",
    "shake",
    "glare",
    "hand",
    "far",
    "all",
)
"""What a film suffers from; "all" is half of each."""


def filming(seed: int, hardship: str) -> Filming:
    """Return how the film of this seed is taken. Each has a little of everything, and much of its hardship."""
    chance = np.random.default_rng([seed, HARDSHIPS.index(hardship)])

    def between(least: float, most: float) -> float:
        return float(chance.uniform(least, most))

    def much(of: str) -> float:
        return 1.0 if hardship == of else 0.5 if hardship == "all" else 0.15

    far = hardship == "far"
    angle, way = 35 * much("angle") * between(0.7, 1.0), between(0, 6.283)
    pose = Pose(
        share=0.25 if far else between(0.55, 0.92),
        yaw=float(angle * np.cos(way)),
        pitch=float(angle * np.sin(way)),
        roll=between(-4, 4),
        across=between(-0.8, 0.8),
        down=between(-0.8, 0.8),
    )
    dim = hardship in ("pwm", "all")
    light = Light(
        gain=2 ** (between(-2.0, 2.0) if hardship == "exposure" else between(-0.7, 0.7)),
        drift=0.2 * much("exposure"),
        blur_px=0.5 + 1.3 * much("blur") * between(0.6, 1.0),
        noise=1.0 + 9.0 * much("noise") * between(0.6, 1.0),
        ambient=between(0, 0.02),
        exposure_s=between(0.004, 0.012) if dim else between(0.008, 0.016),
        readout_s=between(0.024, 0.03) if hardship == "rolling" else between(0.008, 0.018),
        pwm_hz=between(90, 400) if dim else 0.0,
        pwm_on=between(0.35, 0.8) if dim else 1.0,
    )
    seconds = between(0.2, 1.2)
    disturbed = Disturbed(
        shake_px=12 * much("shake") * between(0.5, 1.0),
        glare_share=0.2 if hardship == "glare" else 0.08 if hardship == "all" else 0.0,
        glare_light=between(0.1, 1.2),
        hand_at_s=seconds if hardship in ("hand", "all") else -99.0,
        hand_s=0.5 if hardship in ("hand", "all") else 0.0,
        seed=seed,
    )
    fps = float(chance.choice([24.0, 24.0, 25.0, 25.0, 29.97, 30.0, 30.0, 30.0, 50.0, 60.0]))
    limited = replace(light, exposure_s=min(light.exposure_s, 0.9 / fps), readout_s=min(light.readout_s, 0.9 / fps))
    return Filming(
        pose=pose,
        light=limited,
        disturbed=disturbed,
        size=(1280, 720) if far else (640, 360) if pose.share < 0.75 else (480, 270),
        fps=fps,
        jitter_s=0.1 / fps if hardship in ("rate", "all") else 0.0,
        dropped=between(0.02, 0.1) if hardship in ("rate", "all") else 0.0,
        codec=str(chance.choice(["libx264", "libx264", "libx265"])),
        bits_a_px=between(0.1, 0.25),
    )
