"""Turning upright and colour: profiles made here by the specification, and colour-science as the reference."""

from __future__ import annotations

import io
import itertools
import math
import struct
import warnings

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms

from keyturn.normalize.reading.exif_turn import orientation
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop.reasons import Kind

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it speaks of plotting libraries that are not wanted here
    import colour


def noise(*shape: int, kind: int = 0) -> NDArray[np.uint8]:
    return np.random.default_rng(kind).integers(0, 256, shape).astype(np.uint8)


# -- upright ----------------------------------------------------------------------------------------

# CIPA DC-008 (EXIF), tag 274: which side of the scene the stored row 0 and column 0 are.
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def stored(scene: NDArray[np.uint8], turn: int) -> NDArray[np.uint8]:
    """The scene as a camera stores it: each pixel at its distances from the sides the table names."""
    high, wide = scene.shape[:2]
    sides = SIDES[turn]
    lengths = [high if side in ("top", "bottom") else wide for side in sides]
    out = np.zeros((*lengths, 3), np.uint8)
    for y, x in itertools.product(range(high), range(wide)):
        away = {"top": y, "bottom": high - 1 - y, "left": x, "right": wide - 1 - x}
        out[away[sides[0]], away[sides[1]]] = scene[y, x]
    return out


@pytest.mark.parametrize("turn", SIDES)
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_every_turn_is_undone(turn: int, kind: str) -> None:
    scene = noise(5, 8, 3)
    exif = Image.Exif()
    exif[0x0112] = turn
    file = io.BytesIO()
    Image.fromarray(stored(scene, turn)).save(file, kind, exif=exif, **({"lossless": True} if kind == "WEBP" else {}))
    image = Image.open(file)
    image.load()
    made = upright(image)
    assert (np.asarray(made) == scene).all()
    assert orientation(made) == 1 and (np.asarray(upright(made)) == scene).all()


def test_a_garbled_turn_is_no_turn() -> None:
    image = Image.fromarray(noise(4, 6, 3))
    for exif in (b"", b"Exif\0\0", b"Exif\0\0II*\0\xff\xff\xff\xff", b"\0" * 40, noise(64).tobytes()):
        image.info["exif"] = exif
        assert upright(image) is image


# -- colour: profiles made here, by ICC.1 (the specification of ICC profiles, version 2) --------------

D50 = (0.9642, 1.0, 0.8249)


def s15(*values: float) -> bytes:
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def xyz(values: tuple[float, ...]) -> bytes:
    return b"XYZ \0\0\0\0" + s15(*values)


def curve(values: NDArray[np.float64]) -> bytes:
    table = np.round(values * 65535).astype(">u2").tobytes()
    return b"curv\0\0\0\0" + struct.pack(">I", len(values)) + table


def profile(space: bytes, connection: bytes, device: bytes, name: str, tags: dict[bytes, bytes]) -> bytes:
    text = name.encode("ascii") + b"\0"
    tags = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(78),
        b"cprt": b"text\0\0\0\0none\0",
        b"wtpt": xyz(D50),
        **tags,
    }
    at = 128 + 4 + 12 * len(tags)
    table, data = struct.pack(">I", len(tags)), b""
    for tag, body in tags.items():
        table += tag + struct.pack(">II", at + len(data), len(body))
        data += body + bytes(-len(body) % 4)
    head = struct.pack(">I4s4s", 0, b"\0\0\0\0", b"\x02\x10\0\0") + device + space + connection
    head = (head + bytes(12) + b"acsp").ljust(68, b"\0") + s15(*D50)
    whole = head.ljust(128, b"\0") + table + data
    return struct.pack(">I", len(whole)) + whole[4:]


def matrix_profile(space: colour.RGB_Colourspace, name: str) -> bytes:
    """A display profile of three primaries, brought to D50 by Bradford (ICC.1, annex E)."""
    white = colour.xy_to_XYZ(space.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, np.array(D50), transform="Bradford")
    columns = (adapt @ space.matrix_RGB_to_XYZ).T
    steps = curve(space.cctf_decoding(np.linspace(0, 1, 4096)))
    tags = {key: xyz(tuple(column)) for key, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)}
    return profile(b"RGB ", b"XYZ ", b"mntr", name, tags | dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), steps))


P3 = colour.RGB_COLOURSPACES["Display P3"]
SRGB = colour.RGB_COLOURSPACES["sRGB"]


def test_display_p3_comes_out_as_colour_science_has_it() -> None:
    pixels = noise(40, 40, 3)
    image = Image.fromarray(pixels)
    image.info["icc_profile"] = matrix_profile(P3, "A wide screen")
    made, reasons = to_srgb(image)
    wanted = colour.RGB_to_RGB(pixels / 255, P3, SRGB, apply_cctf_decoding=True, apply_cctf_encoding=True)
    # Tolerance: two 8-bit steps at most, a quarter of one on average, for a quick 8-bit transform.
    apart = np.abs(np.asarray(made) - np.clip(wanted, 0, 1) * 255)
    assert apart.max() < 2 and apart.mean() < 0.3
    assert np.abs(np.asarray(made).astype(int) - pixels).max() > 20  # so following the profile matters
    assert [(r.code, r.kind) for r in reasons] == [("profile-followed", Kind.MENDED)]
    assert "A wide screen" in reasons[0].what
    assert not made.info


def test_alpha_passes_a_profile_untouched() -> None:
    pixels = noise(9, 7, 4)
    image = Image.fromarray(pixels)
    image.info["icc_profile"] = matrix_profile(P3, "A wide screen")
    opaque = Image.fromarray(pixels[..., :3])
    opaque.info = image.info
    made = np.asarray(to_srgb(image)[0])
    assert (made[..., 3] == pixels[..., 3]).all()
    assert (made[..., :3] == np.asarray(to_srgb(opaque)[0])).all()


def test_srgb_by_another_name_changes_nothing() -> None:
    pixels = noise(30, 30, 3)
    image = Image.fromarray(pixels)
    for data in (matrix_profile(SRGB, "Plain"), ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()):
        image.info["icc_profile"] = data
        made, reasons = to_srgb(image)
        assert (np.asarray(made) == pixels).all() and not reasons


def test_grey_follows_a_profile_of_its_own_or_of_colour() -> None:
    ramp = np.arange(256, dtype=np.uint8)[None]
    gamma = {b"kTRC": b"curv\0\0\0\0" + struct.pack(">IH", 1, round(1.8 * 256))}
    grey = profile(b"GRAY", b"XYZ ", b"mntr", "Gamma 1.8", gamma)
    # IEC 61966-2-1: linear light back to sRGB, by colour-science.
    wanted = colour.models.eotf_inverse_sRGB((ramp / 255) ** 1.8) * 255
    for image in (Image.fromarray(ramp), Image.merge("LA", [Image.fromarray(ramp)] * 2)):
        image.info["icc_profile"] = grey
        made = np.asarray(to_srgb(image)[0]).astype(float)
        assert np.abs(made[..., :3] - wanted[..., None]).max() < 1.5
    image = Image.fromarray(ramp)
    image.info["icc_profile"] = matrix_profile(P3, "A wide screen")  # the same curve as sRGB's: grey stays
    assert np.abs(np.asarray(to_srgb(image)[0])[..., 0].astype(int) - ramp).max() <= 1


def cmyk_profile(inks_lab: NDArray[np.float64]) -> bytes:
    """A printer of sixteen known colours: CIELAB at every corner of the four inks (lut8Type, ICC.1 6.5.8)."""
    flat = bytes(range(256))
    lab = np.stack([inks_lab[..., 0] * 2.55, inks_lab[..., 1] + 128, inks_lab[..., 2] + 128], -1)
    body = b"mft1\0\0\0\0" + bytes([4, 3, 2, 0]) + s15(1, 0, 0, 0, 1, 0, 0, 0, 1)
    body += flat * 4 + np.round(lab).astype(np.uint8).tobytes() + flat * 3
    return profile(b"CMYK", b"Lab ", b"prtr", "Sixteen inks", {b"A2B0": body})


def test_printing_inks_come_out_as_their_profile_says() -> None:
    corners = np.array(list(itertools.product([0, 255], repeat=4)), np.uint8)
    dice = np.random.default_rng(3)
    lab = np.round(np.stack([dice.integers(30, 80, 16), *dice.integers(-20, 20, (2, 16))], -1)).astype(float)
    lab[0], lab[15] = (100, 0, 0), (0, 0, 0)  # paper and all four inks: no black point to make up for
    lab[:, 0] = np.round(lab[:, 0] * 2.55) / 2.55  # what 8 bits can hold
    image = Image.frombytes("CMYK", (16, 1), corners.tobytes())
    image.info["icc_profile"] = cmyk_profile(lab)
    made, reasons = to_srgb(image)
    d50 = colour.XYZ_to_xy(np.array(D50))
    wanted = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, d50), illuminant=d50, chromatic_adaptation_transform="Bradford")
    assert np.abs(np.asarray(made)[0] - np.clip(wanted, 0, 1) * 255).max() < 2
    assert [r.code for r in reasons] == ["profile-followed"]


def test_littlecms_driven_directly_agrees_between_the_corners() -> None:
    lab = np.random.default_rng(4).integers(-40, 40, (16, 3)) + np.array([50, 0, 0])
    data = cmyk_profile(lab.astype(float))
    image = Image.frombytes("CMYK", (25, 25), noise(25, 25, 4).tobytes())
    direct = ImageCms.profileToProfile(
        image, io.BytesIO(data), ImageCms.createProfile("sRGB"), ImageCms.Intent.PERCEPTUAL, "RGB"
    )
    image.info["icc_profile"] = data
    assert (np.asarray(to_srgb(image)[0]) == np.asarray(direct)).all()


def rgb_tables(name: str, **tables: NDArray[np.float64]) -> bytes:
    """An RGB profile of look-up tables, each CIELAB at the eight corners of the cube (lut8Type, ICC.1)."""
    flat = bytes(range(256))
    tags = {}
    for tag, corners in tables.items():
        lab = np.stack([corners[..., 0] * 2.55, corners[..., 1] + 128, corners[..., 2] + 128], -1)
        body = b"mft1\0\0\0\0" + bytes([3, 3, 2, 0]) + s15(1, 0, 0, 0, 1, 0, 0, 0, 1)
        tags[tag.encode()] = body + flat * 3 + np.round(lab).astype(np.uint8).tobytes() + flat * 3
    return profile(b"RGB ", b"Lab ", b"mntr", name, tags)


def test_the_perceptual_table_is_followed_where_a_profile_has_one() -> None:
    # ICC.1: A2B0 is the perceptual rendering, A2B1 the colorimetric one.
    dice = np.random.default_rng(12)
    soft = np.round(np.stack([dice.integers(30, 70, 8), *dice.integers(-15, 15, (2, 8))], -1)).astype(float)
    soft[0], soft[7] = (0, 0, 0), (100, 0, 0)
    soft[:, 0] = np.round(soft[:, 0] * 2.55) / 2.55
    harsh = soft * (1, 3, -3)
    data = rgb_tables("A painter's space", A2B0=soft, A2B1=harsh)
    corners = np.array(list(itertools.product([0, 255], repeat=3)), np.uint8)
    d50 = colour.XYZ_to_xy(np.array(D50))
    wanted = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(soft, d50), illuminant=d50, chromatic_adaptation_transform="Bradford")
    image = Image.fromarray(np.concatenate([corners, noise(1192, 3)]).reshape(30, 40, 3))
    direct = ImageCms.profileToProfile(
        image, io.BytesIO(data), ImageCms.createProfile("sRGB"), ImageCms.Intent.PERCEPTUAL, "RGB"
    )
    other = ImageCms.profileToProfile(
        image, io.BytesIO(data), ImageCms.createProfile("sRGB"), ImageCms.Intent.RELATIVE_COLORIMETRIC, "RGB"
    )
    image.info["icc_profile"] = data
    made = np.asarray(to_srgb(image)[0])
    assert np.abs(made.reshape(-1, 3)[:8] - np.clip(wanted, 0, 1) * 255).max() < 2
    assert (made == np.asarray(direct)).all()
    assert np.abs(made.astype(int) - np.asarray(other)).max() > 20


@pytest.mark.parametrize("space", ["Display P3", "Adobe RGB (1998)", "ITU-R BT.2020", "ProPhoto RGB"])
def test_a_matrix_profile_has_no_such_table_and_is_taken_colorimetrically(space: str) -> None:
    # What littleCMS does by itself: colours that sRGB lacks are cut off, black stays black (its black-point
    # compensation has nothing to do, for a matrix profile's black is nought).
    wide = colour.RGB_COLOURSPACES[space]
    data = matrix_profile(wide, space)
    pixels = noise(30, 30, 3, kind=4)
    pixels[0, :2] = [[0, 0, 0], [255, 255, 255]]
    image = Image.fromarray(pixels)
    found = [
        np.asarray(ImageCms.profileToProfile(image, io.BytesIO(data), ImageCms.createProfile("sRGB"), intent, "RGB"))
        for intent in (ImageCms.Intent.PERCEPTUAL, ImageCms.Intent.RELATIVE_COLORIMETRIC)
    ]
    image.info["icc_profile"] = data
    made = np.asarray(to_srgb(image)[0])
    assert (made == found[0]).all() and np.abs(found[0].astype(int) - found[1]).max() <= 1
    assert made[0, :2].tolist() == [[0, 0, 0], [255, 255, 255]]
    linear = colour.RGB_to_RGB(
        pixels / 255, wide, SRGB, apply_cctf_decoding=True, chromatic_adaptation_transform="Bradford"
    )
    wanted = colour.models.eotf_inverse_sRGB(np.clip(linear, 0, 1)) * 255
    assert np.abs(made - wanted).max() < 3 and np.abs(made - wanted).mean() < 0.4


def inks_of(darkest: float, black_alone: float) -> bytes:
    """A printer in greys whose black ink alone, and whose four inks together, are as light as given (L*)."""
    lightness = np.array([100 - 15.0 * sum(inks[:3]) for inks in itertools.product((0, 1), repeat=4)])
    lightness[1::2] = black_alone
    lightness[-1] = darkest
    return cmyk_profile(np.stack([lightness, 0 * lightness, 0 * lightness], -1))


@pytest.mark.parametrize("darkest", [4.0, 9.0, 15.0])
def test_a_printers_black_comes_out_black(darkest: float) -> None:
    # ISO 18619 (black point compensation): in XYZ, a straight line that takes the printer's black to the screen's.
    inks = Image.frombytes("CMYK", (3, 1), bytes([255, 255, 255, 255, 0, 0, 0, 0, 255, 255, 0, 0]))
    inks.info["icc_profile"] = inks_of(darkest, black_alone=darkest + 1)
    made = np.asarray(to_srgb(inks)[0])[0].astype(int)
    light = [((lightness + 16) / 116) ** 3 if lightness > 8 else lightness / 903.3 for lightness in (darkest, 70.0)]
    grey = float(colour.models.eotf_inverse_sRGB((light[1] - light[0]) / (1 - light[0])) * 255)
    assert made[0].max() <= 3 and made[1].min() == 255
    assert np.abs(made[2] - grey).max() <= 2


def test_black_ink_alone_that_is_grey_on_a_screen_is_told() -> None:
    lettering = Image.frombytes("CMYK", (2, 1), bytes([0, 0, 0, 255, 0, 0, 0, 0]))
    lettering.info["icc_profile"] = inks_of(8.0, black_alone=25.0)
    made, reasons = to_srgb(lettering)
    grey = int(np.asarray(made)[0, 0, 0])
    assert grey > 40
    assert [(r.code, r.kind) for r in reasons][1:] == [("black-is-grey", Kind.NOTE)] and str(grey) in reasons[1].what
    rich = Image.frombytes("CMYK", (2, 1), bytes([255, 255, 255, 255, 0, 0, 0, 255]))
    rich.info = lettering.info
    pale = Image.frombytes("CMYK", (1, 1), bytes([0, 0, 0, 90]))
    pale.info = lettering.info
    for image in (rich, pale):
        assert [r.code for r in to_srgb(image)[1]] == ["profile-followed"]


def test_inks_without_a_profile_are_a_guess_and_say_so() -> None:
    inks = Image.frombytes("CMYK", (3, 1), bytes([0, 0, 0, 0, 0, 0, 0, 255, 255, 0, 0, 0]))
    made, reasons = to_srgb(inks)
    # Bare paper is white, full black is black, and cyan absorbs red: the one agreement among rough formulas.
    assert np.asarray(made)[0].tolist() == [[255, 255, 255], [0, 0, 0], [0, 255, 255]]
    assert [(r.code, r.kind) for r in reasons] == [("cmyk-guessed", Kind.NOTE)]


def test_lab_pictures_are_seen_under_d50() -> None:
    values = np.array([[20, 0, 0], [50, 10, -20], [70, -30, 20], [85, 5, 30]], float)
    # TIFF 6.0, section 23: L* of 0 to 255, a* and b* as signed bytes.
    stored_lab = np.stack([np.round(values[:, 0] * 2.55), values[:, 1], values[:, 2]], -1).astype(int)
    image = Image.frombytes("LAB", (4, 1), (stored_lab & 255).astype(np.uint8).tobytes())
    d50 = colour.XYZ_to_xy(np.array(D50))
    wanted = colour.XYZ_to_sRGB(
        colour.Lab_to_XYZ(values, d50), illuminant=d50, chromatic_adaptation_transform="Bradford"
    )
    assert np.abs(np.asarray(to_srgb(image)[0])[0] - wanted * 255).max() < 2.5


@pytest.mark.parametrize("data", [b"junk", noise(400).tobytes(), b"\0" * 200])
def test_a_broken_profile_is_left_aside_with_a_note(data: bytes) -> None:
    for mode in ("RGB", "L"):
        image = Image.fromarray(noise(5, 5, 3)).convert(mode)
        image.info["icc_profile"] = data
        made, reasons = to_srgb(image)
        assert (np.asarray(made) == np.asarray(image.convert("RGB"))).all()
        assert [(r.code, r.kind) for r in reasons] == [("profile-broken", Kind.NOTE)]


def test_a_profile_for_another_kind_of_picture_is_left_aside() -> None:
    image = Image.fromarray(noise(5, 5, 3))
    image.info["icc_profile"] = cmyk_profile(np.full((16, 3), 50.0))
    made, reasons = to_srgb(image)
    assert (np.asarray(made) == np.asarray(image)).all()
    assert [r.code for r in reasons] == ["profile-unfit"]


# -- modes ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", ["L", "LA", "P", "PA", "RGB", "RGBA", "RGBX", "HSV", "La", "RGBa", "YCbCr", "1"])
def test_every_mode_becomes_rgb(mode: str) -> None:
    ramp = Image.fromarray(np.tile(np.arange(0, 256, 8, dtype=np.uint8), (4, 1)))
    steps = {"PA": ["LA"], "La": ["LA"], "RGBa": ["RGBA"], "HSV": ["RGB"], "YCbCr": ["RGB"]}.get(mode, [])
    image = ramp.convert("RGB").quantize(64) if mode == "P" else ramp
    for step in [*steps, mode]:
        image = image.convert(step)
    made, reasons = to_srgb(image)
    wanted = np.asarray(ramp) if mode != "1" else 255 * np.asarray(image)
    assert made.mode == "RGB" and not reasons
    off = 1 if mode == "YCbCr" else 0  # it rounds on the way in
    assert np.abs(np.asarray(made).astype(int) - wanted[..., None]).max() <= off


def test_transparency_of_every_kind_becomes_alpha() -> None:
    pixels = Image.fromarray(np.array([[0, 10, 20, 30]], np.uint8))
    keyed = pixels.copy()
    keyed.info["transparency"] = 10
    colours = pixels.convert("RGB")
    colours.info["transparency"] = (20, 20, 20)
    palette = Image.new("P", (4, 1))
    palette.putpalette([0, 0, 0, 200, 0, 0, 0, 200, 0, 0, 0, 200])
    palette.putdata([0, 1, 2, 3])
    one = palette.copy()
    one.info["transparency"] = 3
    many = palette.copy()
    many.info["transparency"] = bytes([255, 128, 0, 255])
    deep = Image.fromarray(np.array([[0, 300, 65535, 7]], np.uint16))
    deep.info["transparency"] = 300
    for image, alpha in [
        (keyed, [255, 0, 255, 255]),
        (colours, [255, 255, 0, 255]),
        (one, [255, 255, 255, 0]),
        (many, [255, 128, 0, 255]),
        (deep, [255, 0, 255, 255]),
    ]:
        made, _ = to_srgb(image)
        assert made.mode == "RGBA" and np.asarray(made)[0, :, 3].tolist() == alpha
        assert not made.info


def test_deep_greys_are_scaled_to_the_white_that_holds_them() -> None:
    for values, wanted in [
        (np.array([[0, 128, 255]], np.int32), [0, 128, 255]),
        (np.array([[0, 32896, 65535]], np.int32), [0, 128, 255]),
        (np.array([[0, 0.5, 1]], np.float32), [0, 128, 255]),
        (np.array([[math.nan, 127.6, -4]], np.float32), [0, 128, 0]),
    ]:
        made, reasons = to_srgb(Image.fromarray(values))
        assert np.asarray(made)[0, :, 0].tolist() == wanted
        assert [r.code for r in reasons] == ["depth-guessed"]
    made, reasons = to_srgb(Image.fromarray(np.array([[0, 128, 129, 65535]], np.uint16)))
    assert np.asarray(made)[0, :, 0].tolist() == [0, 0, 1, 255] and not reasons


def test_the_source_picture_is_not_changed() -> None:
    image = Image.fromarray(noise(5, 5, 3))
    image.info["dpi"] = (72, 72)
    made, _ = to_srgb(image)
    made.putpixel((0, 0), (1, 2, 3))
    assert image.info == {"dpi": (72, 72)} and (np.asarray(image) == noise(5, 5, 3)).all()
