"""Make the calibration stick: a count that plays once. The flash check sees each picture as it is drawn."""

from __future__ import annotations

import math
import tempfile
import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from PIL import Image

from keyturn.calibrate.figures import Count, CountPictures
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
from keyturn.radio.desc import Desc, Row
from keyturn.renumber.order import frame_name, part_name
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
    progress: OnProgress = lambda stage, done, total: None,
) -> tuple[FileRecord, ...]:
    """Fill `out`, which must be new or empty, with the stick's files, and return them.

    The count lasts at least `seconds`, by default `MARGIN` times the longest boot known: a radio may draw slower
    than its fps, never faster. Raise `WrongUse` where the radio or the flash rule does not allow the count.
    """
    count = count_for(radio, fps, seconds, rules)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise WrongUse(f"{out} is not an empty folder", "name a new folder")
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".building-", dir=out.parent) as scratch:
        stick, animation = Path(scratch) / "stick", Path(scratch) / "bootanimation.zip"
        stick.mkdir()
        pictures = CountPictures(count)
        _pack(pictures, radio, rules, animation, progress)
        logo = _logo_file(pictures.logo(), radio)
        files = write_stick(stick, radio, animation, logo, _install_text(radio, fps, rules), fat=rules.usb.fat)
        stick.replace(out)
    durable_files.fsync_dir(out.parent)
    return files


def count_for(radio: Radio, fps: int, seconds: float | None, rules: Rulebook) -> Count:
    """Return the count. Raise `WrongUse` where the radio does not allow the rate, or no job may have so many frames."""
    limits, most = radio.limits, rules.intake.caps.frames
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
    rows = (Row("p", 1, 0, part_name(0)), Row("p", 0, 0, part_name(1)))
    with ZipWriter(animation) as pack:
        pack.add("desc.txt", desc.write(Desc(*count.size, count.fps, rows)))
        for index in range(count.frames):
            progress("frames", index, count.frames)
            picture = pictures.figure(index + 1)
            watched.show(picture, index / count.fps)
            data, suffix = _encoded(picture, radio.firmware.frame_formats)
            pack.add(f"{rows[0].path}/{frame_name(index, count.frames, suffix)}", data)
        watched.show(pictures.hold(), count.frames / count.fps)
        data, suffix = _encoded(pictures.hold(), radio.firmware.frame_formats)
        pack.add(f"{rows[1].path}/{frame_name(0, 1, suffix)}", data)
    watched.judge()
    _check_size(animation, radio)


def _check_size(animation: Path, radio: Radio) -> None:
    """Raise `WrongUse` where the animation is larger than the radio takes."""
    size = animation.stat().st_size
    if size > radio.limits.zip_mib * MIB:
        what = f"the animation is {readable_size(size)}; {radio.name} takes {radio.limits.zip_mib:g} MiB"
        raise WrongUse(what, "name a lower --fps or fewer --seconds")


class _FlashWatch:
    """The flash check at the stick's nominal rate: no radio plays it faster."""

    def __init__(self, pictures: CountPictures, radio: Radio, rules: Rulebook) -> None:
        self._screen, flash = Screen.of(radio.panel, rules.safety.flash), rules.safety.flash
        self._meter, self._fps = FlashMeter(self._screen, flash), pictures.count.fps
        self.show(pictures.logo(), -LOGO_STANDS_S)

    def show(self, picture: Image.Image, at_s: float) -> None:
        self._meter.show(cells(np.asarray(picture), self._screen.cell_px), at_s)

    def judge(self) -> None:
        """Raise `WrongUse` where the pictures shown would flash."""
        if not self._meter.report().passes:
            what = f"figures that change {self._fps} times a second would flash on this panel (WCAG 2.2, 2.3.1)"
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


def steps(radio: Radio, fps: int) -> list[str]:
    """Return what the fitter does with the stick, in order. The radio's own steps and the cautions come before it."""
    return [
        "Film the screen through a whole start, from before START until the home screen. A second person films; "
        "the vehicle is parked, and nobody films or reads a screen while driving.",
        "In the film, read the last figure under SECONDS before the home screen. If the count was OVER by then, "
        "make the stick anew with more --seconds.",
        "In the film's own time, take the seconds from the first figure to the home screen.",
        "Do so for several starts, some from cold: starts of one radio vary by seconds.",
        f"Give the shop both: keyturn calibrate {radio.name} --fps {fps} --read 17.9 18.4 --filmed 22.6 23.2",
        "Load the stock logo and animation again.",
    ]


def _install_text(radio: Radio, fps: int, rules: Rulebook) -> str:
    """Return INSTALL.txt, in ASCII where the rules are in ASCII, with CRLF line ends."""
    chapters = (
        ("BEFORE YOU BEGIN", rules.safety.cautions.card),
        ("LOAD", load_steps(radio, "this folder")),
        ("MEASURE", steps(radio, fps)),
        ("BACK TO STOCK", radio.steps.restore),
    )
    lines = [f"Calibration of {radio.title} ({radio.name}) at {fps} fps"]
    for title, texts in chapters:
        lines += ["", title, "-" * len(title)]
        for number, text in enumerate(texts, 1):
            lines += textwrap.wrap(f"{number}. {text}", 72, subsequent_indent="   ")
    return "".join(f"{line}\r\n" for line in lines)
