"""What one radio's output is made from, and how its frames are to look."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from keyturn.eye.screen import Screen
from keyturn.flatten.frame_source import Source
from keyturn.manifest.models import Manifest
from keyturn.package.frame import FrameJob, Look
from keyturn.package.player_patch import PatchJob
from keyturn.renumber.plan import Plan
from keyturn.renumber.planned_parts import fit_for
from keyturn.shop.papers import Letterhead
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import JobRecord
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import SHEET_MB

THUMB_PX = (320, 270, 226, 190, 160, 134, 113, 95, 80, 64)
"""Longer sides of the sheet's small pictures. There are few of them: a job with one frame more mostly keeps the size,
and with it the pictures that were made."""

THUMB_FRAMES = 120
"""Up to this many frames the sheet's pictures have the full size. Beyond, they shrink, so that it can be mailed."""

PLAYER_SHARE = 0.8
"""The player's pictures may take so much of the sheet's file; the rest is for its words and small pictures."""


@dataclass(frozen=True, slots=True)
class RadioJob:
    """What one radio's output is made from, and `folder`, which becomes the contents of the stick.

    `job_record` is the job's record as far as it is known. `sheet_frames` counts all pictures of the job's sheet,
    whose file may have `sheet_mb` megabytes. `letterhead` goes on INSTALL.txt. `beside` has for each source the looks
    of other radios that are to be made of it in the same call, see `frames_together`.
    """

    plan: Plan
    manifest: Manifest
    rules: Rulebook
    folder: Path
    scratch: Path
    job_record: JobRecord
    sheet_frames: int
    sheet_mb: float = SHEET_MB
    letterhead: Letterhead = field(default_factory=Letterhead)
    beside: Mapping[Source, tuple[Look, ...]] = field(default_factory=dict)

    @property
    def player_budget(self) -> float:
        """Characters that the large pictures of this radio may take on the sheet."""
        return PLAYER_SHARE * 1e6 * self.sheet_mb * self.plan.frame_count / max(1, self.sheet_frames)

    def look(self, *, logo: bool = False) -> Look:
        radio = self.plan.radio
        bmp = radio.logo.bmp if logo else None
        frames_are: Literal["png", "jpeg"] = "png" if "png" in radio.firmware.frame_formats else "jpeg"
        return Look(
            fit=fit_for(self.manifest, radio),
            ground=self.manifest.ground,
            bits=16 if bmp and bmp.bits == 16 else radio.panel.bits,
            format=radio.logo.made if logo else frames_are,
            bmp=bmp,
            cell_px=Screen.of(radio.panel, self.rules.safety.flash).cell_px,
            thumb_px=_thumb_px(self.sheet_frames),
            palette=radio.logo.palette if logo else radio.firmware.palette,
            trim="none" if logo else _crops_on(radio),
        )

    def frame(self, source: Source, patch: PatchJob | None = None) -> FrameJob:
        return FrameJob(source, self.look(), self.rules.intake, self.beside.get(source, ()), patch)

    def logo_frame(self) -> FrameJob:
        source = self.plan.logo or self.plan.parts[0].sources[0]
        return FrameJob(source, self.look(logo=True), self.rules.intake)


def _thumb_px(frames: int) -> int:
    """Return the size of small pictures of which a sheet shows so many: all together take about as many bytes."""
    most = THUMB_PX[0] * min(1.0, THUMB_FRAMES / max(1, frames)) ** 0.5
    return next((size for size in THUMB_PX if size <= most), THUMB_PX[-1])


def _crops_on(radio: Radio) -> Literal["none", "black", "any"]:
    """Return on which background the radio can draw cropped frames: none, black alone, or any colour."""
    if not radio.player.trim:
        return "none"
    return "any" if radio.player.row_colour else "black"
