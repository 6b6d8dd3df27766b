"""The profile of one radio, as rules/radios/*.toml describes it.

Every table names its source in `source`. An unknown key, or a figure outside its limits, is an error.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationInfo, model_validator

from keyturn.shop import player_facts
from keyturn.shop.bmp_layout import BmpBits, BmpHeader, BmpLayout
from keyturn.shop.player_facts import Player
from keyturn.shop.rule_table import Rule, Sourced

Px = Annotated[int, Field(ge=16, le=4096)]
Seconds = Annotated[float, Field(ge=0.1, le=600)]


class Panel(Sourced):
    """The screen, in pixels. Its width and the distance from eye to glass, in mm, give degrees of the visual field."""

    width: Px
    height: Px
    bits: Literal[16, 24] = 24
    width_mm: Annotated[float, Field(gt=20, lt=2000)]
    view_mm: Annotated[float, Field(gt=200, lt=3000)] = 700

    @property
    def size(self) -> tuple[int, int]:
        return self.width, self.height

    @property
    def degree_px(self) -> float:
        """How many pixels wide a tenth of a ten-degree field is. Ten degrees are 2 d tan(5 deg) wide at distance d."""
        return 2 * self.view_mm * math.tan(math.radians(5)) * self.width / self.width_mm / 10


class Firmware(Sourced):
    """What the radio's firmware takes, beside what its player's generation says.

    `palette`: it is known to show 8-bit palette PNG, which is smaller where a frame has few colours. `interlaced`: it
    is known to show interlaced PNG, which Keyturn never makes.
    """

    pause_unit: Literal["frames", "seconds"] = "frames"
    frame_formats: tuple[Literal["png", "jpeg"], ...] = ("png",)
    palette: bool = False
    interlaced: bool = False
    max_plays: Annotated[int, Field(ge=1, le=10_000)] = 10


class Limits(Sourced):
    """What the radio can play. `decode_ms_per_mpx` and `draw_ms` are the time a frame takes, measured or assumed."""

    fps_min: Annotated[int, Field(ge=1, le=60)] = 1
    fps_max: Annotated[int, Field(ge=1, le=60)] = 30
    zip_mib: Annotated[float, Field(gt=0)]
    texture_mib: Annotated[float, Field(gt=0)]
    decode_ms_per_mpx: Annotated[float, Field(ge=0, le=2000)]
    draw_ms: Annotated[float, Field(ge=0, le=1000)]

    @model_validator(mode="after")
    def _least_below_most(self) -> Limits:
        if self.fps_min > self.fps_max:
            raise ValueError(f"fps_min {self.fps_min} is above fps_max {self.fps_max}")
        return self


FEWEST_TOLD = 5
"""With fewer starts than this, a fitter's watch says nothing about a radio: one slip of a thumb, or a watch started
with the engine, would stand for a large share of all starts. Keyturn's own choice."""


class Boot(Sourced):
    """Seconds from the first frame to the home screen, or to the end of the last frame where it is dark between.

    `samples` are measured on films. Where there are none, shortest, usual and longest are assumed. `told` were read
    from a watch by fitters: they count once there are `FEWEST_TOLD` starts with those on film.
    """

    shortest: Seconds
    usual: Seconds
    longest: Seconds
    samples: tuple[Seconds, ...] = ()
    told: tuple[Seconds, ...] = ()

    @property
    def starts(self) -> tuple[float, ...]:
        """The starts that count, in seconds."""
        every = (*self.samples, *self.told)
        return every if len(every) >= FEWEST_TOLD else self.samples

    @model_validator(mode="after")
    def _in_order(self) -> Boot:
        if not self.shortest <= self.usual <= self.longest:
            raise ValueError("shortest, usual and longest must not descend")
        return self


LogoFormat = Literal["png", "jpeg", "bmp"]
LOGO_ENDINGS: dict[LogoFormat, tuple[str, ...]] = {"png": (".png",), "jpeg": (".jpg", ".jpeg"), "bmp": (".bmp",)}


class Filmed(Sourced):
    """How the radio showed a calibration stick of `fps` on `starts` films, in ms, with standard errors.

    `interval_ms` is the time from one plain frame to the next, and `spread_ms` how far the films' own intervals lie
    apart at most. `draw_ms`, `plain_ms` and `detailed_ms` are what it takes to draw a frame, to decode a plain one and
    a detailed one; each is left out where the films do not tell it. `films` are the beginnings of the SHA-256 of the
    films whose starts are among the boot's samples.
    """

    fps: Annotated[int, Field(ge=1, le=60)]
    starts: Annotated[int, Field(ge=1)]
    interval_ms: Annotated[float, Field(gt=0)]
    interval_error_ms: Annotated[float, Field(ge=0)]
    spread_ms: Annotated[float, Field(ge=0)] = 0.0
    boot_error_ms: Annotated[float, Field(ge=0)] = 0.0
    draw_ms: Annotated[float | None, Field(ge=0)] = None
    draw_error_ms: Annotated[float | None, Field(ge=0)] = None
    plain_ms: Annotated[float | None, Field(ge=0)] = None
    plain_error_ms: Annotated[float | None, Field(ge=0)] = None
    detailed_ms: Annotated[float | None, Field(ge=0)] = None
    detailed_error_ms: Annotated[float | None, Field(ge=0)] = None
    films: tuple[str, ...] = ()


class Logo(Sourced):
    """Which boot logos the radio takes; the first of `formats` is made.

    A BMP has `bmp_bits` a pixel, 16 being RGB565, behind a BITMAPINFOHEADER ("info") or a BITMAPV4HEADER ("v4").
    `exact_bytes` is the size of a BMP's file that the firmware insists on: zeros fill it up. With 0 it
    takes any.
    """

    formats: Annotated[tuple[LogoFormat, ...], Field(min_length=1)] = ("png",)
    palette: bool = False
    max_kib: Annotated[float, Field(gt=0)] = 4096
    bmp_bits: BmpBits = 24
    bmp_rows: Literal["bottom-up", "top-down"] = "bottom-up"
    bmp_header: BmpHeader = "info"
    exact_bytes: Annotated[int, Field(ge=0, le=2**28)] = 0

    @property
    def made(self) -> LogoFormat:
        return self.formats[0]

    @property
    def bmp(self) -> BmpLayout | None:
        """How the logo is written where it is made as BMP."""
        if self.made != "bmp":
            return None
        return BmpLayout(self.bmp_bits, self.bmp_rows == "top-down", self.bmp_header, self.exact_bytes)

    @property
    def words(self) -> str:
        """The logo that is made, in a few words: "BMP, 16 bit, top-down"."""
        return f"BMP, {self.bmp_bits} bit, {self.bmp_rows}" if self.made == "bmp" else self.made.upper()

    def faults(self, size: tuple[int, int], name: str) -> list[str]:
        """Return what cannot be of a logo of `size` in pixels called `name` on the stick."""
        if (layout := self.bmp) is None:
            what = "exact_bytes needs formats that begin with bmp: the size of other files depends on the picture"
            return [what] if self.exact_bytes else []
        least, found = layout.least_bytes(size), []
        if 0 < self.exact_bytes < least:
            found.append(f"exact_bytes is {self.exact_bytes}, and such a BMP has at least {least} bytes")
        if layout.file_bytes(size) > self.max_kib * 1024:
            found.append(f"such a BMP has {layout.file_bytes(size)} bytes, above max_kib = {self.max_kib:g}")
        ending = Path(name).suffix.lower()
        if any(ending in LOGO_ENDINGS[other] for other in ("png", "jpeg")):
            found.append(f"a BMP is made, and [stick] calls it {name}")
        return found


class Stick(Sourced):
    """Where the files go on the stick, as paths from its root. `extra_files`: other files may lie beside them."""

    animation: str = "bootanimation.zip"
    logo: str = "logo.png"
    extra_files: bool = False

    @model_validator(mode="after")
    def _inside_the_stick(self) -> Stick:
        for path in (self.animation, self.logo):
            if path.startswith("/") or ".." in Path(path).parts or "\\" in path:
                raise ValueError(f"{path!r} must be a plain path inside the stick")
        if Path(self.animation).name != "bootanimation.zip":
            raise ValueError("the animation's file name must be bootanimation.zip")
        return self


class CameraDisplay(Sourced):
    """Whether the radio's screen also shows the reversing camera."""

    shows_camera: bool = True


class Steps(Sourced):
    """What the fitter does, in plain words and in order. In `load`, {folder} stands for the folder of the job."""

    load: tuple[str, ...]
    confirm: tuple[str, ...]
    restore: tuple[str, ...]


class Radio(Rule):
    """The profile of one radio. `name` is its file's name without ".toml".

    Its [player] gets the facts of its generation, from the validation context's `players` or as they ship.
    `old_keys` are keys of older Keyturns that the file still has.
    """

    name: str
    title: str
    panel: Panel
    player: Player
    firmware: Firmware
    limits: Limits
    boot: Boot
    logo: Logo
    stick: Stick
    screen: CameraDisplay
    steps: Steps
    filmed: Filmed | None = None
    old_keys: tuple[str, ...] = Field((), exclude=True)

    @model_validator(mode="after")
    def _logo_can_be_made(self) -> Radio:
        if faults := self.logo.faults(self.panel.size, self.stick.logo):
            raise ValueError(f"logo: {'; '.join(faults)}")
        return self

    @model_validator(mode="before")
    @classmethod
    def _with_facts(cls, profile: Any, info: ValidationInfo) -> Any:
        if not isinstance(profile, dict):
            return profile
        return player_facts.with_facts(profile, (info.context or {}).get("players") or player_facts.shipped())
