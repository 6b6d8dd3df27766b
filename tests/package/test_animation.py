"""What goes into the zip and how: whole drops made for radios that take palettes, cropped frames and JPEG."""

from __future__ import annotations

import io
import re
import struct
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from keyturn.commands import make_by_hand
from keyturn.commands.archive_reader import read_bundle
from keyturn.eye.cielab import NOTICEABLE
from keyturn.package import animation
from keyturn.package.animation import FrameStore
from keyturn.package.frame import FrameDone
from keyturn.pipeline import Bench
from keyturn.radio.inspect import look
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind, Reason
from keyturn.shop.records import RadioRecord
from samples import with_player

SIZE = (48, 64)
GROUND = (11, 29, 42)

Frames = list[NDArray[np.uint8]]


def changed(bench: Bench, table: str, **values: object) -> Bench:
    """The bench, its radio "tiny" changed in one table of its profile."""
    radio = bench.rules.radios["tiny"]
    mended = radio.model_copy(update={table: getattr(radio, table).model_copy(update=values)})
    rules = bench.rules.model_copy(update={"radios": {**bench.rules.radios, "tiny": mended}})
    return Bench(rules, bench.crew, bench.now)


def tiny(bench: Bench) -> Radio:
    return bench.rules.radios["tiny"]


def later(bench: Bench, **more: object) -> Bench:
    """A later player: it crops, colours what surrounds the frames, and reads JPEG."""
    return changed(played(bench, generation="third"), "firmware", **more)


def played(bench: Bench, **facts: object) -> Bench:
    """The bench, its radio "tiny" with another player."""
    radios = {**bench.rules.radios, "tiny": with_player(tiny(bench), **facts)}
    return Bench(bench.rules.model_copy(update={"radios": radios}), bench.crew, bench.now)


def lamp(number: int, ground: tuple[int, int, int] = GROUND, size: tuple[int, int] = SIZE) -> NDArray[np.uint8]:
    """A lamp of soft edges that rises and grows over an even ground; number 0: none."""
    image = Image.new("RGB", size, ground)
    if number:
        y = 50 - 3 * number
        for step in range(4):
            inset = step
            box = (10 + number + inset, y + inset, 26 + number - inset, y + 12 - inset)
            ImageDraw.Draw(image).ellipse(box, fill=(90 + 40 * step, 80 + 30 * step, 60 + number))
    return np.asarray(image)


def grain(number: int, size: tuple[int, int] = SIZE, own: float = 2.5) -> NDArray[np.uint8]:
    """A photograph's like, panned: coarse light, and grain of its own."""
    dice = np.random.default_rng(3)
    coarse = dice.integers(60, 190, (10, 12, 3), dtype=np.uint8)
    wide = np.asarray(Image.fromarray(coarse).resize((size[0] + 40, size[1]), Image.Resampling.BICUBIC)).astype(float)
    noise = np.random.default_rng(number).normal(0, own, (size[1], size[0], 3))
    return np.clip(wide[:, number : number + size[0]] + noise, 0, 255).astype(np.uint8)


@pytest.fixture
def made(tmp_path: Path) -> Callable[..., tuple[RadioRecord, zipfile.ZipFile, tuple[Reason, ...]]]:
    """made(bench, frames, manifest=...): the record and the opened zip of a drop of these frames."""

    def make(bench: Bench, frames: Frames, more: str = "") -> tuple[RadioRecord, zipfile.ZipFile, tuple[Reason, ...]]:
        number = len(list(tmp_path.glob("drop*")))
        drop = tmp_path / f"drop{number}"
        (drop / "lamps").mkdir(parents=True)
        for i, pixels in enumerate(frames, 1):
            Image.fromarray(pixels).save(drop / "lamps" / f"{i:04d}.png")
        text = f'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\nbackground = "#0b1d2a"\n{more}'
        (drop / "job.toml").write_text(text, encoding="utf-8")
        result = make_by_hand.make(drop, tmp_path / f"out{number}", bench)
        assert result.folder is not None
        (record,) = result.made.record.radios
        return record, zipfile.ZipFile(result.folder / "usb" / "bootanimation.zip"), record.reasons

    return make


Made = Callable[..., tuple[RadioRecord, zipfile.ZipFile, tuple[Reason, ...]]]


def composed(pack: zipfile.ZipFile) -> list[list[NDArray[np.uint8]]]:
    """Every part's frames as a player composes them, from the published description alone: the row's colour (black
    by default) all over, the frame at its line's X and Y (AOSP, cmds/bootanimation, format description)."""
    first, *rows = pack.read("desc.txt").decode("ascii").splitlines()
    wide, high = map(int, first.split()[:2])
    shown = []
    for row in rows:
        _, _, _, path, *colour = row.split()
        ground = struct.unpack("BBB", bytes.fromhex(colour[0].removeprefix("#"))) if colour else (0, 0, 0)
        names = sorted(n for n in pack.namelist() if n.startswith(f"{path}/") and not n.endswith(".txt"))
        lines = [f"{wide}x{high}+0+0"] * len(names)
        if f"{path}/trim.txt" in pack.namelist():
            text = pack.read(f"{path}/trim.txt").decode("ascii")
            assert text.endswith("\n")
            lines = text.splitlines()
        frames = []
        for name, line in zip(names, lines, strict=True):
            w, h, x, y = map(int, re.fullmatch(r"(\d+)x(\d+)\+(\d+)\+(\d+)", line).groups())  # type: ignore[union-attr]
            picture = np.asarray(Image.open(io.BytesIO(pack.read(name))).convert("RGB"))
            assert picture.shape == (h, w, 3) and x + w <= wide and y + h <= high
            screen = np.full((high, wide, 3), ground, np.uint8)
            screen[y : y + h, x : x + w] = picture
            frames.append(screen)
        shown.append(frames)
    return shown


def names(pack: zipfile.ZipFile) -> list[str]:
    return [info.filename for info in pack.infolist()]


# -- cropped frames ---------------------------------------------------------------------------------


@pytest.mark.parametrize("ground", [GROUND, (0, 0, 0), (255, 255, 255)])
@pytest.mark.parametrize("palette", [True, False])
def test_cropped_frames_compose_to_the_very_pixels(
    made: Made, bench: Bench, ground: tuple[int, int, int], palette: bool
) -> None:
    size = (240, 320)  # on "tiny" a palette leaves cropping nothing to save
    bench = changed(bench, "panel", width=size[0], height=size[1])
    frames = [lamp(n, ground, size) for n in (0, 1, 2, 5, 9, 9, 0)]
    record, pack, _ = made(later(bench, palette=palette), frames)
    assert "part0/trim.txt" in names(pack) and record.parts[0].trimmed
    shown = composed(pack)
    for ours, theirs in zip(shown[0], frames, strict=True):
        assert np.array_equal(ours, theirs)
    assert np.array_equal(shown[1][0], frames[-1]), "the hold"
    colour = "" if ground == (0, 0, 0) else " #{:02x}{:02x}{:02x}".format(*ground)
    assert pack.read("desc.txt").decode().splitlines()[1] == f"p 1 0 part0{colour}"
    assert record.desc.encode() == pack.read("desc.txt")
    whole, _, _ = made(changed(bench, "firmware", palette=palette), frames)
    assert record.zip_bytes < whole.zip_bytes
    sizes = [Image.open(io.BytesIO(pack.read(n))).size for n in names(pack) if n.startswith("part0/0")]
    assert sizes[0] == sizes[-1] == (1, 1), "a frame of the ground alone"


def test_our_own_inspection_finds_cropped_archives_sound(made: Made, bench: Bench) -> None:
    radio = later(bench)
    _, pack, _ = made(radio, [lamp(n) for n in range(5)])
    found = read_bundle(Path(pack.filename or ""), bench.rules.intake.caps)
    sound = look(found.entries, found.desc, tiny(radio), found.trims).reasons
    assert [reason.kind for reason in sound] == [Kind.NOTE] * len(sound)  # at 1 fps a frame holds the screen for 1 s
    old = look(found.entries, found.desc, tiny(bench), found.trims).reasons
    assert {"trim-not-known", "colour-not-known"} <= {reason.code for reason in old}


def test_a_loop_of_cropped_frames_holds_what_is_left_of_them(made: Made, bench: Bench) -> None:
    """AOSP: a part that repeats keeps every frame as a texture; pixels x 4 bytes where no side is rounded up."""
    radio = later(bench)
    more = '[[part]]\nart = "lamps/*.png"\nplays = "until-booted"\n'
    record, pack, _ = made(radio, [lamp(n) for n in range(6)], more)
    sizes = [Image.open(io.BytesIO(pack.read(n))).size for n in names(pack) if n.endswith(".png")]
    assert record.memory.peak_mib == pytest.approx(sum(4 * w * h for w, h in sizes) / 2**20)
    whole, _, _ = made(played(bench, generation="third", trim=False), [lamp(n) for n in range(6)], more)
    assert whole.memory.peak_mib == pytest.approx(6 * 4 * 48 * 64 / 2**20)


def test_parts_without_one_even_ground_stay_whole(made: Made, bench: Bench) -> None:
    touching = lamp(3).copy()
    touching[0, 7] = (200, 10, 10)
    for odd in (touching, lamp(3, (60, 60, 60)), grain(1)):
        frames = [lamp(1), odd, lamp(2)]
        record, pack, _ = made(later(bench), frames)
        assert "part0/trim.txt" not in names(pack) and not record.parts[0].trimmed
        assert all(map(np.array_equal, composed(pack)[0], frames))


def test_a_radio_without_row_colours_crops_on_black_alone(made: Made, bench: Bench) -> None:
    plain = played(bench, generation="third", row_colour=False)
    for ground, cropped in [((0, 0, 0), True), (GROUND, False)]:
        frames = [lamp(n, ground) for n in range(4)]
        record, pack, _ = made(plain, frames)
        assert record.parts[0].trimmed == cropped
        assert "#" not in record.desc
        assert all(map(np.array_equal, composed(pack)[0], frames))


def test_a_radio_that_does_not_know_them_gets_none(made: Made, bench: Bench) -> None:
    record, pack, _ = made(bench, [lamp(n) for n in range(4)])
    assert names(pack) == ["desc.txt", *(f"part0/{n:04d}.png" for n in range(1, 5)), "part1/0001.png"]
    assert "#" not in record.desc


# -- JPEG -------------------------------------------------------------------------------------------


def both(bench: Bench, **more: object) -> Bench:
    return later(bench, frame_formats=("png", "jpeg"), **more)


def test_photographs_become_jpeg_and_drawings_stay_png(made: Made, bench: Bench) -> None:
    photographs, drawings = [grain(n) for n in range(6)], [lamp(n) for n in range(6)]
    record, pack, reasons = made(both(bench), photographs)
    assert [n.rpartition(".")[2] for n in names(pack)[1:]] == ["png", *["jpg"] * 5, "jpg"], "frame 1 equals the logo"
    assert (record.parts[0].jpeg_frames, record.parts[1].jpeg_frames) == (5, 1)
    assert record.handoff.share_changed == 0
    (told,) = [r for r in reasons if r.code == "packed-as-jpeg"]
    assert told.kind is Kind.NOTE and "part 1 (" in told.what
    lost = float(re.search(r"difference is ([\d.]+)", told.what).group(1))  # type: ignore[union-attr]
    assert 0 < lost < NOTICEABLE
    plain, _, _ = made(bench, photographs)
    assert record.zip_bytes < 0.7 * plain.zip_bytes
    record, pack, reasons = made(both(bench), drawings)
    assert not [n for n in names(pack) if n.endswith("jpg")]
    assert not [r for r in reasons if r.code == "packed-as-jpeg"]
    assert all(map(np.array_equal, composed(pack)[0], drawings))


def test_a_part_is_photographic_or_not_as_most_of_its_pictures_are(made: Made, bench: Bench) -> None:
    """Soft light with even places, as a phone's noise reduction leaves it, is a photograph too; few drawings among
    photographs are packed with them only if that is not seen."""
    soft = [np.clip(grain(n, own=0.0).astype(int), 90, 160).astype(np.uint8) for n in range(6)]
    record, _, _ = made(both(bench), soft)
    assert record.parts[0].jpeg_frames == 5
    sharp = np.where(np.indices(SIZE[::-1]).sum(0)[..., None] // 7 % 2, (240, 30, 30), (20, 60, 240)).astype(np.uint8)
    for frames in ([soft[0], sharp, soft[2]], [soft[0], lamp(1), lamp(2)]):
        record, pack, _ = made(both(bench), frames)
        assert record.parts[0].jpeg_frames == 0
        assert all(map(np.array_equal, composed(pack)[0], frames))


def test_frames_of_two_kinds_play_in_the_order_of_their_numbers(made: Made, bench: Bench) -> None:
    """Byte order of names (AOSP): 0001.png comes before 0002.jpg. Each shows what was drawn for its place."""
    frames = [grain(n) for n in range(12)]
    _, pack, _ = made(both(bench), frames)
    shown = composed(pack)[0]
    for place, ours in enumerate(shown):
        apart = [np.abs(ours.astype(int) - theirs).mean() for theirs in frames]
        assert int(np.argmin(apart)) == place


def test_the_hold_is_the_last_frames_own_file(made: Made, bench: Bench) -> None:
    _, pack, _ = made(both(bench), [grain(n) for n in range(6)])
    assert pack.read("part0/0006.jpg") == pack.read("part1/0001.jpg")


def test_a_16_bit_panel_gets_no_jpeg(made: Made, bench: Bench) -> None:
    """It would undo the dithering."""
    deep = changed(both(bench), "panel", bits=16)
    _, pack, _ = made(deep, [grain(n) for n in range(4)])
    assert not [n for n in names(pack) if n.endswith("jpg")]


def test_a_radio_that_reads_jpeg_alone_gets_nothing_else(made: Made, bench: Bench) -> None:
    only = later(bench, frame_formats=("jpeg",))
    record, pack, _ = made(only, [lamp(n) for n in range(3)])
    assert [n.rpartition(".")[2] for n in names(pack)] == ["txt", *["jpg"] * 4]
    assert not record.parts[0].trimmed


# -- all of it --------------------------------------------------------------------------------------


@pytest.mark.system
def test_unzip_and_pngcheck_find_everything_sound(
    made: Made, bench: Bench, tmp_path: Path, needs: Callable[[str], str]
) -> None:
    _, pack, _ = made(both(bench, palette=True), [lamp(n) for n in range(5)])
    said = subprocess.run([needs("unzip"), "-t", str(pack.filename)], capture_output=True, text=True, check=True).stdout
    assert "No errors detected" in said
    pack.extractall(tmp_path / "unzipped")
    for path in (tmp_path / "unzipped").rglob("*.png"):
        told = subprocess.run([needs("pngcheck"), "-v", path], capture_output=True, text=True, check=True).stdout
        assert "No errors detected" in told and re.search(r"(24-bit RGB|8-bit palette), non-interlaced", told)


def test_the_same_drop_gives_the_same_bytes(made: Made, bench: Bench) -> None:
    for frames in ([lamp(n) for n in range(5)], [grain(n) for n in range(5)]):
        one, other = (made(both(bench, palette=True), frames) for _ in range(2))
        assert Path(one[1].filename or "").read_bytes() == Path(other[1].filename or "").read_bytes()


def test_the_record_says_what_the_parts_weigh(made: Made, bench: Bench) -> None:
    frames = [lamp(n) for n in range(5)]
    record, pack, _ = made(later(bench, palette=True), frames)
    part = record.parts[0]
    infos = [i for i in pack.infolist() if re.fullmatch(r"part0/\d+\.png", i.filename)]
    assert part.bytes == sum(i.file_size for i in infos)
    assert part.palette_frames == sum(pack.read(i)[25] == 3 for i in infos) > 0
    plain, whole, _ = made(bench, frames)
    assert part.plain_bytes == plain.parts[0].bytes == plain.parts[0].plain_bytes
    assert part.plain_bytes == sum(i.file_size for i in whole.infolist() if i.filename.startswith("part0/"))


# -- the frame store --------------------------------------------------------------------------------


def done(pixels: NDArray[np.uint8]) -> FrameDone:
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "PNG")
    cells = np.zeros((4, 4, 3), np.uint16)
    return FrameDone(file.getvalue(), len(file.getvalue()), None, False, str(pixels.sum()), b"", cells, 0.0, 0.0, ())


def test_the_store_gives_back_the_pixels_of_frames_and_of_the_logo(tmp_path: Path) -> None:
    frame, logo = lamp(3), lamp(5)
    with FrameStore(tmp_path / "tiny") as store:
        numbers = store.show(done(logo)), store.keep(done(frame), "0001.png")
        assert [np.array_equal(store.pixels(n), p) for n, p in zip(numbers, (logo, frame), strict=True)] == [True, True]
        assert store.keep(done(logo), "0002.png") == numbers[0]  # a logo that is a frame too
        assert list(store.whole) == [numbers[1], numbers[0]]


@pytest.mark.parametrize("held", [0, 250, 600, 10**6])
def test_files_beyond_what_is_held_in_memory_come_back_from_the_disk(tmp_path: Path, monkeypatch, held: int) -> None:
    monkeypatch.setattr(animation, "HELD_BYTES", held)
    files = [bytes([n]) * (100 + 37 * n) for n in range(1, 9)]  # some too large for the room left, some after them not
    with FrameStore(tmp_path / "tiny") as store:
        kept = [store.add(data) for data in files]
        assert [store.read(file) for file in kept] == files
        again = [store.add(data) for data in reversed(files)]
        assert [store.read(file) for file in (*again, *kept)] == [*reversed(files), *files]
        assert len({file.start for file in (*kept, *again)}) == 2 * len(files)
        on_disk = (tmp_path / "tiny.files").stat().st_size
    every = 2 * sum(map(len, files))
    assert every - held <= on_disk <= every and (on_disk == 0) == (held >= every)


@pytest.mark.parametrize("full", ["files", "cells"])
def test_on_a_full_disk_the_store_gives_all_its_room_back(tmp_path: Path, monkeypatch, full: str) -> None:
    """full(4): every write to /dev/full fails with ENOSPC, here the last one, when the file is closed. unlink(2): the
    room of a file that is still open is not free."""
    monkeypatch.setattr(animation, "HELD_BYTES", 0)
    (tmp_path / f"tiny.{full}").symlink_to("/dev/full")
    with FrameStore(tmp_path / "tiny") as store:
        store.keep(done(lamp(3)), "0001.png")
    held = [entry.readlink() for entry in Path("/proc/self/fd").iterdir() if entry.is_symlink()]
    assert not [path for path in held if tmp_path in path.parents or path == Path("/dev/full")]
    assert list(tmp_path.iterdir()) == []
