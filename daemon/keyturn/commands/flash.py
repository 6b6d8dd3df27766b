"""`keyturn flash`: check a folder of pictures for flashes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError
from rich.console import Console

from keyturn.commands.console import DONE, NOT_JUDGED, REFUSED, JsonOption, RootOption, err, out, rules_of
from keyturn.commands.output import reasons, write_json
from keyturn.eye.flash_check import flash_check
from keyturn.eye.luminance import cells
from keyturn.eye.screen import Screen
from keyturn.shop.natural_order import natural_key
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.records import FlashRecord
from keyturn.shop.rulebook import Flash
from keyturn.shop.units import MIB

SUFFIXES = frozenset({".png", ".jpg", ".jpeg", ".webp", ".bmp", ".gif", ".tif", ".tiff"})


KEPT_MIB = 128
"""Pictures are kept up to this much for a second look; beyond it they are read again."""

_SIZE = re.compile(r"([1-9]\d{0,4})\s*[xX×]\s*([1-9]\d{0,4})")


def flash(
    frames: Annotated[Path, typer.Argument(help="A folder of pictures, read in name order.")],
    fps: Annotated[float, typer.Option(help="Frames a second.", min=0.1, max=1000)],
    screen: Annotated[str | None, typer.Option(help="Screen in pixels, as 1024x768.")] = None,
    field_px: Annotated[str | None, typer.Option(help="The 10-degree field in pixels, as 341x256.")] = None,
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check numbered pictures for flashes (WCAG 2.2, 2.3.1). A screening aid, not a medical clearance.

    Exit codes: 0 passes, 1 fails, 4 not judged (the reasons are printed).

    Example: `keyturn flash ./frames --fps 30 --screen 1024x768 --field-px 341x256`
    """
    rules = rules_of(root).safety.flash
    sizes = _size(screen), _size(field_px)
    try:
        checked = check_folder(frames, fps, *sizes, rules)
    except Refused as refused:
        _print_refusal(refused, as_json)
        raise typer.Exit(NOT_JUDGED) from refused
    _print_report(out, checked, rules, as_json)
    raise typer.Exit(DONE if checked.record.passes else REFUSED)


def _size(text: str | None) -> tuple[int, int] | None:
    """Return width and height in pixels from a text such as "1024x768"."""
    if text is None:
        return None
    found = _SIZE.fullmatch(text.strip())
    if found is None:
        raise typer.BadParameter(f"{text!r} is not a size such as 1024x768")
    return int(found[1]), int(found[2])


@dataclass(frozen=True, slots=True)
class Checked:
    """What the flash check found, and the screen it took the pictures to be shown on, in pixels of the pictures."""

    record: FlashRecord
    screen: Screen


def _print_refusal(refused: Refused, as_json: bool) -> None:
    if as_json:
        write_json(
            {"judged": False, "pass": None, "reasons": [r.model_dump(mode="json") for r in refused.reasons]},
            one_line=True,
        )
    else:
        err.print("[bold red]not judged:[/]")
        reasons(err, refused.reasons)


def _print_report(console: Console, checked: Checked, rules: Flash, as_json: bool) -> None:
    report, screen = checked.record, checked.screen
    if as_json:
        found = {
            "judged": True,
            "pass": report.passes,
            "general_max_per_s": report.general_max_per_s,
            "red_max_per_s": report.red_max_per_s,
            "worst_at_s": report.worst_at_s,
            "field_share": round(report.field_share, 4),
            "field_px": [round(side, 2) for side in screen.field_px],
            "picture_px": [screen.width_px, screen.height_px],
        }
        write_json(found, one_line=True)
        return
    verdict = "[green]passes[/]" if report.passes else "[bold red]fails[/]"
    console.print(
        f"{verdict}: at most {report.general_max_per_s} general and {report.red_max_per_s} red flashes within "
        f"a second, worst at {report.worst_at_s:.2f} s (WCAG 2.2, 2.3.1; a screening aid, not a medical clearance)"
    )
    if report.field_share:
        side = "below" if report.passes else "above"
        share, limit = 100 * report.field_share, 100 * rules.field_share
        console.print(f"flashing was seen in {share:.1f} % of a field, {side} the limit ({limit:g} % may flash)")
    width, height = screen.field_px
    console.print(
        f"the 10-degree field is {width:.6g} x {height:.6g} px of the pictures' {screen.width_px} x {screen.height_px}"
    )


def check_folder(
    folder: Path,
    fps: float,
    screen: tuple[int, int] | None,
    field_px: tuple[int, int] | None,
    rules: Flash,
) -> Checked:
    """Check the pictures of `folder` in name order, as if shown `fps` a second.

    `screen` is the size of the screen in pixels; by default that of the pictures. `field_px` is the size of the
    10-degree field on it in pixels; by default WCAG's 341 x 256 at 1024 x 768, in proportion. Pictures are taken
    to fill the screen, so the field is scaled to them. Raise `Refused` where there are no pictures, and at the
    first picture that cannot be checked.
    """
    paths = _in_name_order(folder)
    if not paths:
        what = f"{folder.name} holds no pictures"
        raise Refused([refuse("no-pictures", what, f"put numbered pictures there ({', '.join(sorted(SUFFIXES))})")])
    first = _pixels(paths[0])
    size = (first.shape[1], first.shape[0])
    view = _view(size, screen, field_px, rules)
    kept = _Kept(view, size)
    pictures = [_KeptPicture(path, kept) for path in paths]
    return Checked(flash_check(view, rules, lambda: ((n / fps, picture) for n, picture in enumerate(pictures))), view)


def _view(
    size: tuple[int, int], screen: tuple[int, int] | None, field_px: tuple[int, int] | None, rules: Flash
) -> Screen:
    """Return the screen in pixels of the pictures, which have `size`."""
    if field_px is None:
        return Screen.wcag(rules, size)
    across, down = screen or size
    return Screen.with_field(size, (field_px[0] * size[0] / across, field_px[1] * size[1] / down), rules)


class _Kept:
    """Pixels and cells of the pictures, read once as long as there is room for them."""

    def __init__(self, screen: Screen, size: tuple[int, int]) -> None:
        self._screen, self._size = screen, size
        self._room = KEPT_MIB * MIB
        self._read: dict[Path, tuple[NDArray[np.uint8], NDArray[np.uint16]]] = {}
        self._last: tuple[Path, tuple[NDArray[np.uint8], NDArray[np.uint16]]] | None = None

    def of(self, path: Path) -> tuple[NDArray[np.uint8], NDArray[np.uint16]]:
        """Return pixels and cells. Raise `Refused` where the picture is not as large as the first."""
        if self._last and self._last[0] == path:
            return self._last[1]
        read = self._read.get(path) or self._read_now(path)
        self._last = path, read
        return read

    def _read_now(self, path: Path) -> tuple[NDArray[np.uint8], NDArray[np.uint16]]:
        rgb = _pixels(path)
        size = (rgb.shape[1], rgb.shape[0])
        if size != self._size:
            raise Refused([_of_another_size(path, size, self._size)])
        read = rgb, cells(rgb, self._screen.cell_px)
        taken = sum(each.nbytes for each in read)
        if taken <= self._room:
            self._room -= taken
            self._read[path] = read
        return read


@dataclass(frozen=True, slots=True)
class _KeptPicture:
    path: Path
    kept: _Kept

    def cells(self) -> NDArray[np.uint16]:
        return self.kept.of(self.path)[1]

    def pixels(self) -> NDArray[np.uint8]:
        return self.kept.of(self.path)[0]


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


def _pixels(path: Path) -> NDArray[np.uint8]:
    """Return the picture's pixels, (height, width, 3) in sRGB. Raise `Refused` where it cannot be read."""
    try:
        with Image.open(path) as picture:
            if (
                getattr(picture, "n_frames", 1) > 1 and picture.format != "MPO"
            ):  # a camera's second view is no animation
                what = f"it holds {getattr(picture, 'n_frames', 1)} pictures, one after the other"
                raise Refused(
                    [refuse("picture-animated", what, "save each of them as a PNG of its own", file=path.name)]
                )
            return np.asarray(_on_black(picture), np.uint8)
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        what = "is damaged or no picture"
        raise Refused([refuse("picture-unreadable", what, "save it again as PNG", file=path.name)]) from error


def _on_black(picture: Image.Image) -> Image.Image:
    """Return the picture as opaque RGB. Where it is transparent, the black screen behind it shows."""
    if picture.mode.startswith(("I", "F")):
        raise ValueError("it has more than 8 bits a channel")
    if not picture.has_transparency_data:
        return picture.convert("RGB")
    whole = picture.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", whole.size, "black"), whole).convert("RGB")
