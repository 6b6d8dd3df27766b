"""The profile of one radio, as rules/radios/*.toml describes it.

Every table names its source in `source`. An unknown key, or a figure outside its limits, is an error.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Px = Annotated[int, Field(ge=16, le=4096)]
Seconds = Annotated[float, Field(ge=0.1, le=600)]


class Rule(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Sourced(Rule):
    source: Annotated[str, Field(min_length=3)]


class Panel(Sourced):
    """The screen. `width_mm` and `view_mm` (eye to glass) give degrees of the visual field."""

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
        """Pixels a tenth of a ten-degree field is wide: plane geometry, 2 d tan(5 deg) across ten degrees."""
        return 2 * self.view_mm * math.tan(math.radians(5)) * self.width / self.width_mm / 10


class Firmware(Sourced):
    """How the radio's player reads and paces an animation.

    `palette`: it is trusted with 8-bit palette PNG, which is smaller where a frame has few colours.
    """

    pacing: Literal["additive", "fixed-beat"]
    pause_unit: Literal["frames", "seconds"] = "frames"
    part_types: tuple[Literal["p", "c", "f"], ...] = ("p",)
    row_colour: bool = False
    trim: bool = False
    frame_formats: tuple[Literal["png", "jpeg"], ...] = ("png",)
    palette: bool = False
    max_plays: Annotated[int, Field(ge=1, le=10_000)] = 10


class Limits(Sourced):
    """What the radio can carry. Decode and draw are the measured or assumed cost of showing a frame."""

    fps_min: Annotated[int, Field(ge=1, le=60)] = 1
    fps_max: Annotated[int, Field(ge=1, le=60)] = 30
    zip_mib: Annotated[float, Field(gt=0)]
    texture_mib: Annotated[float, Field(gt=0)]
    texture_bytes: Literal[2, 4] = 4
    texture_power_of_two: bool = True
    decode_ms_per_mpx: Annotated[float, Field(ge=0, le=2000)]
    draw_ms: Annotated[float, Field(ge=0, le=1000)]

    @model_validator(mode="after")
    def _least_below_most(self) -> Limits:
        if self.fps_min > self.fps_max:
            raise ValueError(f"fps_min {self.fps_min} is above fps_max {self.fps_max}")
        return self


class Boot(Sourced):
    """Seconds from the first frame to the home screen: measured samples, else shortest, usual, longest."""

    shortest: Seconds
    usual: Seconds
    longest: Seconds
    samples: tuple[Seconds, ...] = ()

    @model_validator(mode="after")
    def _in_order(self) -> Boot:
        if not self.shortest <= self.usual <= self.longest:
            raise ValueError("shortest, usual and longest must not descend")
        return self


class Logo(Sourced):
    formats: tuple[Literal["png", "jpeg"], ...] = ("png",)
    palette: bool = False
    max_kib: Annotated[float, Field(gt=0)] = 4096


class Stick(Sourced):
    """What goes on the stick and where; paths are relative to its root."""

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
    shows_camera: bool = True


class Steps(Sourced):
    """The fitter's steps in plain words, in order."""

    load: tuple[str, ...]
    confirm: tuple[str, ...]
    restore: tuple[str, ...]


class Radio(Rule):
    """A profile: one radio format as the shop knows it. `name` is the file's stem."""

    name: str
    title: str
    panel: Panel
    firmware: Firmware
    limits: Limits
    boot: Boot
    logo: Logo
    stick: Stick
    screen: CameraDisplay
    steps: Steps
