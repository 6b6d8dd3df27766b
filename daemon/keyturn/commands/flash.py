"""`keyturn flash`: check a folder of pictures for flashes."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError
from rich.console import Console

from keyturn.commands.console import DONE, REFUSED, JsonOption, RootOption, out, rules_of
from keyturn.eye.flash import FlashMeter
from keyturn.eye.luminance import cells
from keyturn.eye.screen import Screen
from keyturn.shop.natural_order import natural_key
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.records import FlashRecord
from keyturn.shop.rulebook import Flash

SUFFIXES = frozenset({".png", ".jpg", ".jpeg", ".webp", ".bmp", ".gif", ".tif", ".tiff"})


def flash(
    frames: Annotated[Path, typer.Argument(help="A folder of pictures, read in name order.")],
    fps: Annotated[float, typer.Option(help="Frames a second.", min=0.1, max=1000)],
    screen: Annotated[str | None, typer.Option(help="Screen in pixels, as 1024x768.")] = None,
    field_px: Annotated[str | None, typer.Option(help="The 10-degree field in pixels, as 341x256.")] = None,
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check numbered pictures for flashes (WCAG 2.2, 2.3.1). A screening aid, not a medical clearance.

    Example: `keyturn flash ./frames --fps 30 --screen 1024x768 --field-px 341x256`
    """
    rules = rules_of(root).safety.flash
    report = check_folder(frames, fps, _size(screen), _size(field_px), rules)
    _print_report(out, report, as_json)
    raise typer.Exit(DONE if report.passes else REFUSED)


def _size(text: str | None) -> tuple[int, int] | None:
    """Return width and height in pixels from a text such as "1024x768"."""
    if text is None:
        return None
    found = re.fullmatch(r"([1-9]\d{0,4})[x×]([1-9]\d{0,4})", text)
    if found is None:
        raise typer.BadParameter(f"{text!r} is not a size such as 1024x768")
    return int(found[1]), int(found[2])


def _print_report(console: Console, report: FlashRecord, as_json: bool) -> None:
    if as_json:
        found = {
            "pass": report.passes,
            "general_max_per_s": report.general_max_per_s,
            "red_max_per_s": report.red_max_per_s,
            "worst_at_s": report.worst_at_s,
        }
        sys.stdout.write(json.dumps(found) + "\n")
        return
    verdict = "[green]passes[/]" if report.passes else "[bold red]fails[/]"
    console.print(
        f"{verdict}: at most {report.general_max_per_s} general and {report.red_max_per_s} red flashes within "
        f"a second, worst at {report.worst_at_s:.2f} s (WCAG 2.2, 2.3.1; a screening aid, not a medical clearance)"
    )


def check_folder(
    folder: Path,
    fps: float,
    screen: tuple[int, int] | None,
    field_px: tuple[int, int] | None,
    rules: Flash,
) -> FlashRecord:
    """Check the pictures of `folder` in name order, as if shown `fps` a second. One is in memory at a time.

    `screen` is the size of the screen in pixels; by default that of the pictures. `field_px` is the size of the
    10-degree field on it in pixels; by default WCAG's 341 x 256 at 1024 x 768, in proportion. Pictures are taken
    to fill the screen, so the field is scaled to them. Raise `Refused` where there are no pictures, and at the
    first picture that cannot be checked.
    """
    paths = _in_name_order(folder)
    meter: FlashMeter | None = None
    for number, (path, rgb) in enumerate(_pictures(paths)):
        height, width = rgb.shape[:2]
        if meter is None:
            first = (width, height)
            view = _view(first, screen, field_px, rules)
            meter = FlashMeter(view, rules)
        if (width, height) != first:
            raise Refused([_of_another_size(path, (width, height), first)])
        meter.show(cells(rgb, view.cell_px), number / fps)
    if meter is None:
        what = f"{folder.name} holds no pictures"
        raise Refused([refuse("no-pictures", what, f"put numbered pictures there ({', '.join(sorted(SUFFIXES))})")])
    return meter.report()


def _view(
    size: tuple[int, int], screen: tuple[int, int] | None, field_px: tuple[int, int] | None, rules: Flash
) -> Screen:
    """Return the screen in pixels of the pictures, which have `size`."""
    if field_px is None:
        return Screen.wcag(rules, size)
    across, down = screen or size
    return Screen.with_field(size, (field_px[0] * size[0] / across, field_px[1] * size[1] / down), rules)


def _in_name_order(folder: Path) -> list[Path]:
    """Return the pictures in the order of the numbers in their names: frame2 comes before frame10."""
    if not folder.is_dir():
        raise Refused(
            [refuse("not-a-folder", f"{folder.name} is not a folder", "name the folder that holds the frames")]
        )
    pictures = [p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and not p.name.startswith(".")]
    return sorted(pictures, key=lambda p: (natural_key(p.name.casefold()), p.name))


def _of_another_size(path: Path, size: tuple[int, int], first: tuple[int, int]) -> Reason:
    what = f"it is {size[0]} x {size[1]} px, the pictures before it are {first[0]} x {first[1]} px"
    return refuse("picture-size-mixed", what, "make all pictures one size", file=path.name)


def _pictures(paths: list[Path]) -> Iterator[tuple[Path, NDArray[np.uint8]]]:
    for path in paths:
        try:
            with Image.open(path) as picture:
                yield path, np.asarray(_on_black(picture), np.uint8)
        except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
            what = f"it cannot be read as a picture ({error})"
            raise Refused([refuse("picture-unreadable", what, "save it again as PNG", file=path.name)]) from error


def _on_black(picture: Image.Image) -> Image.Image:
    """Return the picture as opaque RGB. Where it is transparent, the black screen behind it shows."""
    if picture.mode.startswith(("I", "F")):
        raise ValueError("it has more than 8 bits a channel")
    if not picture.has_transparency_data:
        return picture.convert("RGB")
    whole = picture.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", whole.size, "black"), whole).convert("RGB")
