"""Phone photographs: HEIC by pillow-heif and AVIF by Pillow, the right way up and in their own colours."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from keyturn.normalize import decode
from keyturn.normalize.fit import Fit
from keyturn.normalize.reading import stills
from keyturn.normalize.reading.probe import Probe
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop import fast_libraries, rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake
CORNERS = {(0, 0): (230, 30, 30), (1, 0): (30, 200, 30), (0, 1): (30, 30, 230), (1, 1): (230, 220, 40)}
"""Colours by the corner that they fill: right, down."""


def scene(size: tuple[int, int] = (96, 64)) -> Image.Image:
    made = Image.new("RGB", size)
    for (right, down), colour in CORNERS.items():
        made.paste(colour, (right * size[0] // 2, down * size[1] // 2, size[0], size[1] if down else size[1] // 2))
    return made


def corners(image: Image.Image) -> dict[tuple[int, int], tuple[int, int, int]]:
    """Which of the colours is seen in which corner."""
    wide, high = image.size
    seen = {}
    for right in (0, 1):
        for down in (0, 1):
            pixel = image.convert("RGB").getpixel((wide // 4 + right * wide // 2, high // 4 + down * high // 2))
            near = min(CORNERS.values(), key=lambda colour: sum(abs(a - b) for a, b in zip(colour, pixel, strict=True)))
            assert max(abs(a - b) for a, b in zip(near, pixel, strict=True)) <= 12
            seen[right, down] = near
    return seen


def shown(turn: int) -> dict[tuple[int, int], tuple[int, int, int]]:
    """CIPA DC-008 (EXIF), tag 274: which side of the stored picture is the shown one's top, and which its left."""
    sides = {1: "TL", 2: "TR", 3: "BR", 4: "BL", 5: "LT", 6: "RT", 7: "RB", 8: "LB"}
    row, column = sides[turn]  # where row 0 and column 0 of the stored picture are seen

    def at(right: int, down: int) -> tuple[int, int]:
        place = {"T": down, "B": 1 - down, "L": right, "R": 1 - right}
        return place[column], place[row]

    return {(right, down): CORNERS[at(right, down)] for right in (0, 1) for down in (0, 1)}


def saved(path: Path, kind: str, turn: int = 1, **how: object) -> Path:
    exif = Image.Exif()
    exif[0x0112] = turn
    if kind == "HEIC":
        heif = pillow_heif.from_pillow(scene())
        heif.save(path, quality=95, exif=exif.tobytes(), **how)
    else:
        scene().save(path, kind, quality=95, exif=exif.tobytes(), **how)
    return path


def probe(path: Path) -> Probe:
    return stills.probe(path, INTAKE, name=path.name)


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("kind", ["HEIC", "AVIF"])
def test_a_photograph_is_turned_once(tmp_path: Path, kind: str, turn: int) -> None:
    path = saved(tmp_path / f"van.{kind.lower()}", kind, turn)
    found = probe(path)
    assert (found.format, found.size) == (kind, (64, 96) if turn >= 5 else (96, 64))
    for loaded in (
        stills.load(path, INTAKE, name="van"),
        decode.still(path, INTAKE, name="van", fit=Fit((96, 64))),
    ):
        held = upright(loaded)
        assert held.size == found.size and corners(held) == shown(turn)


@pytest.mark.system
@pytest.mark.parametrize("turn", range(1, 9))
def test_the_turn_is_that_of_imagemagick(tmp_path: Path, needs: Callable[[str], str], turn: int) -> None:
    path = saved(tmp_path / "van.heic", "HEIC", turn)
    subprocess.run([needs("convert"), path, "-auto-orient", tmp_path / "van.png"], check=True)
    theirs = Image.open(tmp_path / "van.png").convert("RGB")
    assert corners(theirs) == shown(turn)
    assert corners(upright(stills.load(path, INTAKE, name="van"))) == shown(turn)


@pytest.mark.parametrize("kind", ["HEIC", "AVIF"])
def test_an_embedded_profile_is_kept_and_followed(tmp_path: Path, kind: str) -> None:
    """The same picture as PNG with the same profile is the reference."""
    wide = wide_gamut()
    path = saved(tmp_path / f"a.{kind.lower()}", kind, icc_profile=wide)
    made, reasons = to_srgb(upright(stills.load(path, INTAKE, name="a")))
    assert [r.code for r in reasons] == ["profile-followed"]
    scene().save(tmp_path / "a.png", icc_profile=wide)
    expected, _ = to_srgb(stills.load(tmp_path / "a.png", INTAKE, name="a"))
    apart = np.abs(np.asarray(made).astype(int) - np.asarray(expected))
    assert np.median(apart) <= 3
    assert np.abs(np.asarray(expected).astype(int) - np.asarray(scene())).max() > 20  # it does change colours


def wide_gamut() -> bytes:
    """A matrix profile of its own making: sRGB with red and green changed over to wider primaries.

    ICC.1, 10.31: the colorants are s15Fixed16 numbers; what is changed keeps their sum, the white.
    """
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    tags = {
        bytes(data[at : at + 4]): int.from_bytes(data[at + 4 : at + 8], "big") for at in range(132, 132 + 12 * 20, 12)
    }
    moved = {b"rXYZ": (0.07, 0.02, -0.01), b"gXYZ": (-0.07, -0.02, 0.01)}
    for tag, changes in moved.items():
        for place, change in enumerate(changes):
            at = tags[tag] + 8 + 4 * place
            value = int.from_bytes(data[at : at + 4], "big", signed=True) + round(change * 65536)
            data[at : at + 4] = value.to_bytes(4, "big", signed=True)
    return bytes(data)


@pytest.mark.parametrize("kind", ["HEIC", "AVIF"])
def test_a_photograph_cut_short_is_refused(tmp_path: Path, kind: str) -> None:
    path = saved(tmp_path / "van", kind)
    whole = path.read_bytes()
    for share in (0.1, 0.4, 0.8, 0.98):
        path.write_bytes(whole[: int(len(whole) * share)])
        with pytest.raises(Refused) as caught:
            probe(path)
            stills.load(path, INTAKE, name="van")
        assert [r.code for r in caught.value.reasons] == ["picture-broken"]


def test_ten_bits_become_eight_and_alpha_stays(tmp_path: Path) -> None:
    clear = scene().convert("RGBA")
    clear.putalpha(Image.linear_gradient("L").resize(clear.size))
    pillow_heif.from_pillow(clear).save(tmp_path / "a.heic", quality=-1)
    found = probe(tmp_path / "a.heic")
    assert found.alpha
    made = stills.load(tmp_path / "a.heic", INTAKE, name="a")
    assert np.abs(np.asarray(made)[..., 3].astype(int) - np.asarray(clear)[..., 3]).max() <= 2
    deep = np.repeat(np.linspace(0, 65535, 96).astype(np.uint16)[None, :, None], 64, 0).repeat(3, 2)
    pillow_heif.encode("RGB;16", (96, 64), deep.tobytes(), tmp_path / "b.heic", quality=-1)
    made = np.asarray(stills.load(tmp_path / "b.heic", INTAKE, name="b").convert("RGB")).astype(int)
    assert np.abs(made - deep / 257).max() <= 3


def test_the_size_is_checked_by_the_header(tmp_path: Path) -> None:
    caps = INTAKE.caps.model_copy(update={"picture_mpx": 0.006})
    for kind in ("HEIC", "AVIF"):
        path = saved(tmp_path / f"a.{kind.lower()}", kind)
        with pytest.raises(Refused) as caught:
            stills.probe(path, INTAKE.model_copy(update={"caps": caps}), name="a")
        assert [r.code for r in caught.value.reasons] == ["picture-too-large"]


def test_a_moving_avif_is_refused_by_name(tmp_path: Path) -> None:
    frames = [scene(), scene().transpose(Image.Transpose.ROTATE_180)]
    frames[0].save(tmp_path / "a.avif", save_all=True, append_images=frames[1:], duration=100)
    with pytest.raises(Refused) as caught:
        probe(tmp_path / "a.avif")
    assert [(r.code, "a moving AVIF" in r.what) for r in caught.value.reasons] == [("picture-kind", True)]


def test_without_the_extra_a_photograph_is_refused_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path / "van.heic", "HEIC")
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(Refused) as caught:
        probe(path)
    (reason,) = caught.value.reasons
    assert reason.code == "picture-kind" and "keyturn[photos]" in reason.mend


# -- AVIF that libavif refuses ----------------------------------------------------------------------


def without_size_of_alpha(data: bytes) -> bytes:
    """ISO/IEC 23008-12, 6.5.3: each item has its size (ispe). Here the transparency's is replaced by another property.

    ipma lists, item by item, the numbers of the properties in ipco.
    """
    changed = bytearray(data)
    ipco, ipma = data.index(b"ipco"), data.index(b"ipma")
    names, at = [], ipco + 4
    while at < ipma - 4:
        names.append(data[at + 4 : at + 8])
        at += int.from_bytes(data[at : at + 4], "big")
    at = ipma + 12
    for _ in range(int.from_bytes(data[ipma + 8 : ipma + 12], "big")):
        last, count = at + 3, data[at + 2]
        at += 3 + count
    numbers = data[last : last + count]
    size, other = (
        next(n for n, p in enumerate(numbers) if names[(p & 127) - 1] == name) for name in (b"ispe", b"pixi")
    )
    changed[last + size] = numbers[other]
    return bytes(changed)


def test_an_avif_that_libavif_refuses_is_shown_by_libvips(tmp_path: Path) -> None:
    rgba = scene()
    rgba.putalpha(Image.linear_gradient("L").resize(rgba.size))
    rgba.save(tmp_path / "whole.avif", quality=95)
    path = tmp_path / "a.avif"
    path.write_bytes(without_size_of_alpha((tmp_path / "whole.avif").read_bytes()))
    with pytest.raises(OSError):
        Image.open(path)
    found = stills.probe(path, INTAKE, name="a.avif")
    assert (found.format, found.size, found.alpha) == ("AVIF", rgba.size, True)
    made = np.asarray(stills.load(path, INTAKE, name="a.avif")).astype(int)
    assert np.abs(made - np.asarray(rgba))[10:20, 10:30].max() < 8
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(Refused) as caught:
        stills.load(path, INTAKE, name="a.avif")
    assert caught.value.reasons[0].code == "picture-broken"


def test_without_libvips_such_an_avif_is_damaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rgba = scene()
    rgba.putalpha(200)
    rgba.save(tmp_path / "a.avif")
    (tmp_path / "a.avif").write_bytes(without_size_of_alpha((tmp_path / "a.avif").read_bytes()))
    monkeypatch.setattr(fast_libraries, "library", lambda name: None)
    with pytest.raises(Refused) as caught:
        stills.probe(tmp_path / "a.avif", INTAKE, name="a.avif")
    assert caught.value.reasons[0].code == "picture-broken"
