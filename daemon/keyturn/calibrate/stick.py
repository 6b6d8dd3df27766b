"""Make the calibration stick: a count that plays once. The flash check sees each picture as it is drawn."""

from __future__ import annotations

import math
import tempfile
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.calibrate.figures import Count, CountPictures
from keyturn.calibrate.stick_plan import MOST_FRAMES, CountPart
from keyturn.eye import banding
from keyturn.eye.flash import FlashMeter
from keyturn.eye.luminance import cells
from keyturn.eye.screen import Screen
from keyturn.judge.flash import LOGO_STANDS_S
from keyturn.package import bmp_writer, jpeg_and_webp
from keyturn.package.stick import write_stick
from keyturn.package.zip_writer import ZipWriter
from keyturn.pages.card import load_steps
from keyturn.png import png_writer
from keyturn.radio import desc
from keyturn.radio.desc import Desc
from keyturn.renumber.order import frame_name
from keyturn.shop import durable_files
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import FileRecord
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.units import MIB, readable_size
from keyturn.shop.wrong_use import WrongUse

MARGIN = 1.5
"""By default the count lasts this many times the longest boot known. Keyturn's own choice."""

OnProgress = Callable[[str, int, int], None]


def make_stick(
    radio: Radio,
    out: Path,
    *,
    fps: int = 10,
    seconds: float | None = None,
    rules: Rulebook,
    by_eye: bool = False,
    progress: OnProgress = lambda stage, done, total: None,
) -> tuple[FileRecord, ...]:
    """Fill `out`, which must be new or empty, with the stick's files, and return them.

    The count lasts at least `seconds`, by default `MARGIN` times the longest boot known: a radio may draw slower
    than its fps, never faster. A stick for reading `by_eye` counts plain frames alone (see `stick_plan`).
    Raise `WrongUse` where the radio or the flash rule does not allow the count.
    """
    count = replace(count_for(radio, fps, seconds, rules), by_eye=by_eye)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise WrongUse(f"{out} is not an empty folder", "name a new folder")
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".building-", dir=out.parent) as scratch:
        stick, animation = Path(scratch) / "stick", Path(scratch) / "bootanimation.zip"
        stick.mkdir()
        pictures = CountPictures(count)
        _pack(pictures, radio, rules, animation, progress)
        logo = _logo_file(pictures.logo(), radio)
        text = _install_text(radio, fps, rules, by_eye=by_eye)
        files = write_stick(stick, radio, animation, logo, text, fat=rules.usb.fat)
        stick.replace(out)
    durable_files.fsync_dir(out.parent)
    return files


def count_for(radio: Radio, fps: int, seconds: float | None, rules: Rulebook) -> Count:
    """Return the count. Raise `WrongUse` where the radio does not allow the rate, or no job may have so many frames."""
    limits, most = radio.limits, min(MOST_FRAMES, rules.intake.caps.frames)
    if not limits.fps_min <= fps <= limits.fps_max:
        what = f"{radio.name} is trusted with {limits.fps_min} to {limits.fps_max} fps, not {fps}"
        raise WrongUse(what, "name another --fps")
    wanted = MARGIN * max(radio.boot.longest, *radio.boot.samples, 0) if seconds is None else seconds
    frames = math.ceil(wanted * fps) if 0 < wanted < math.inf else 0
    if not 1 <= frames <= most:
        raise WrongUse(f"a count of {wanted:g} s at {fps} fps has {frames} frames; 1 to {most} can be made")
    return Count(radio.title, radio.panel.size, fps, frames)


def _pack(pictures: CountPictures, radio: Radio, rules: Rulebook, animation: Path, progress: OnProgress) -> None:
    """Write the animation. A part that plays once reuses one texture however long it is (AOSP); see `radio.memory`."""
    count, watched = pictures.count, _FlashWatch(pictures, radio, rules)
    *rows, last = pictures.plan.rows
    with ZipWriter(animation) as pack:
        pack.add("desc.txt", desc.write(Desc(*count.size, count.fps, (*rows, last))))
        for row, part in zip(rows, pictures.plan.parts, strict=True):
            for index, number in enumerate(range(part.first, part.last + 1)):
                progress("frames", number - 1, count.frames)
                picture = pictures.figure(number)
                watched.show(picture)
                data, suffix = _encoded(picture, radio.firmware.frame_formats)
                pack.add(f"{row.path}/{frame_name(index, part.frames, suffix)}", data)
            watched.repeat(part)
        watched.show(pictures.hold())
        data, suffix = _encoded(pictures.hold(), radio.firmware.frame_formats)
        pack.add(f"{last.path}/{frame_name(0, 1, suffix)}", data)
    watched.judge()
    _check_size(animation, radio)


def _check_size(animation: Path, radio: Radio) -> None:
    """Raise `WrongUse` where the animation is larger than the radio takes."""
    size = animation.stat().st_size
    if size > radio.limits.zip_mib * MIB:
        what = f"the animation is {readable_size(size)}; {radio.name} takes {radio.limits.zip_mib:g} MiB"
        raise WrongUse(what, "name a lower --fps or fewer --seconds")


class _FlashWatch:
    """The flash check at the stick's nominal rate: no radio plays it faster, and a pause only slows it."""

    def __init__(self, pictures: CountPictures, radio: Radio, rules: Rulebook) -> None:
        self._screen, flash = Screen.of(radio.panel, rules.safety.flash), rules.safety.flash
        self._meter, self._pictures = FlashMeter(self._screen, flash), pictures
        self._meter.show(self._cells(pictures.logo()), -LOGO_STANDS_S)
        self._shown = 0

    def show(self, picture: Image.Image) -> None:
        self._meter.show(self._cells(picture), self._shown / self._pictures.count.fps)
        self._shown += 1

    def repeat(self, part: CountPart) -> None:
        """Show the later plays of a part that was shown once."""
        for _ in range(part.plays - 1):
            for number in range(part.first, part.last + 1):
                self.show(self._pictures.figure(number))

    def _cells(self, picture: Image.Image) -> NDArray[np.uint16]:
        return cells(np.asarray(picture), self._screen.cell_px)

    def judge(self) -> None:
        """Raise `WrongUse` where the pictures shown would flash."""
        if not self._meter.report().passes:
            fps = self._pictures.count.fps
            what = f"pictures that change {fps} times a second would flash on this panel (WCAG 2.2, 2.3.1)"
            raise WrongUse(what, "name a lower --fps")


def _encoded(picture: Image.Image, formats: Sequence[str]) -> tuple[bytes, str]:
    """Return the picture as a file in the radio's first format, and its suffix."""
    return (png_writer.png(picture), ".png") if formats[0] == "png" else (jpeg_and_webp.jpeg(picture), ".jpg")


def _logo_file(picture: Image.Image, radio: Radio) -> bytes:
    """Return the logo's file as the radio takes it."""
    if (layout := radio.logo.bmp) is None:
        return _encoded(picture, radio.logo.formats)[0]
    pixels = np.asarray(picture)
    return bmp_writer.bmp(banding.dithered(pixels) if layout.bits == 16 else pixels, layout)


FILMED_BY = "A second person films; the vehicle is parked, and nobody films or reads a screen while driving."


def steps(radio: Radio, fps: int, *, by_eye: bool = False) -> list[str]:
    """Return what the fitter does with the stick, in order. The radio's own steps and the cautions come before it."""
    return _steps_by_eye(radio, fps) if by_eye else _steps_by_film(radio)


def _steps_by_film(radio: Radio) -> list[str]:
    return [
        "Film the screen through a whole start, from before START until three seconds after the home screen has come. "
        + FILMED_BY,
        "Prop the phone up or rest it on something, straight before the screen, so that the screen is at least half as "
        "high as the film and all six ring marks are in it. Hands and reflections stay off the glass.",
        "The screen should not dazzle in the film: lock the phone's exposure on it. Film at 30 pictures a second or "
        "more, not in slow motion, and send the file as the phone wrote it.",
        "Do so for several starts, some from cold: starts of one radio vary by seconds. One film a start.",
        f"Give the shop the films: keyturn calibrate {radio.name} --film start1.mp4 start2.mp4",
        "Load the stock logo and animation again.",
    ]


def _steps_by_eye(radio: Radio, fps: int) -> list[str]:
    return [
        f"Film the screen through a whole start, from before START until the home screen. {FILMED_BY}",
        "In the film, read the last figure under SECONDS before the home screen. If the count was OVER by then, "
        "make the stick anew with more --seconds.",
        "In the film's own time, take the seconds from the first figure to the home screen.",
        "Do so for several starts, some from cold: starts of one radio vary by seconds.",
        f"Give the shop both: keyturn calibrate {radio.name} --fps {fps} --read 17.9 18.4 --filmed 22.6 23.2",
        "Load the stock logo and animation again.",
    ]


def _install_text(radio: Radio, fps: int, rules: Rulebook, *, by_eye: bool) -> str:
    """Return INSTALL.txt, in ASCII where the rules are in ASCII, with CRLF line ends."""
    chapters = (
        ("BEFORE YOU BEGIN", rules.safety.cautions.card),
        ("LOAD", load_steps(radio, "this folder")),
        ("MEASURE", steps(radio, fps, by_eye=by_eye)),
        ("BACK TO STOCK", radio.steps.restore),
    )
    lines = [f"Calibration of {radio.title} ({radio.name}) at {fps} fps"]
    for title, texts in chapters:
        lines += ["", title, "-" * len(title)]
        for number, text in enumerate(texts, 1):
            lines += textwrap.wrap(f"{number}. {text}", 72, subsequent_indent="   ")
    return "".join(f"{line}\r\n" for line in lines)
