"""Drops that mean harm, or might as well: each function lays one in the inbox."""

from __future__ import annotations

import os
import shutil
import socket
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

from faults.scenarios import draw

Maker = Callable[[Path, Path], None]
"""Takes the drop's future place and the canary: a folder outside the shop that nothing may touch."""


def link_out(drop: Path, canary: Path) -> None:
    (draw(drop, 1) / "lamps" / "0004.png").symlink_to(canary / "secret.png")


def folder_link_out(drop: Path, canary: Path) -> None:
    (draw(drop, 1) / "more").symlink_to(canary)


def manifest_link_out(drop: Path, canary: Path) -> None:
    (draw(drop, 1) / "job.toml").unlink()
    (drop / "job.toml").symlink_to(canary / "secret.toml")


def notice_link_out(drop: Path, canary: Path) -> None:
    """Where the notice of its rejection will be written there is a link already."""
    (draw(drop, 1) / "lamps" / "0002.png").write_bytes(b"broken")
    for name in ("REJECTED.html", "REJECTED.txt", "REJECTED.json"):
        (drop / name).symlink_to(canary / "secret.toml")


def drop_is_a_link(drop: Path, canary: Path) -> None:
    drop.symlink_to(canary / "drop")


def drop_is_a_link_to_a_file(drop: Path, canary: Path) -> None:
    drop.symlink_to(canary / "secret.png")


def drop_is_a_dangling_link(drop: Path, canary: Path) -> None:
    drop.symlink_to(canary / "nowhere")


def hard_link(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    (drop / "lamps" / "0002.png").unlink()
    os.link(canary / "secret.png", drop / "lamps" / "0002.png")


def pipe(drop: Path, canary: Path) -> None:
    os.mkfifo(draw(drop, 1) / "lamps" / "0004.png")


def pipe_as_manifest(drop: Path, canary: Path) -> None:
    (draw(drop, 1) / "job.toml").unlink()
    os.mkfifo(drop / "job.toml")


def drop_is_a_pipe(drop: Path, canary: Path) -> None:
    os.mkfifo(drop)


def sock(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    here = Path.cwd()
    os.chdir(drop)  # the address of a socket is short
    try:
        with socket.socket(socket.AF_UNIX) as one:
            one.bind("0004.png")
    finally:
        os.chdir(here)


def device(drop: Path, canary: Path) -> None:
    """/dev/zero under a picture's name: it never ends. Without the right to make one, a pipe stands for it."""
    place = draw(drop, 1) / "lamps" / "0004.png"
    try:
        os.mknod(place, stat.S_IFCHR | 0o666, os.makedev(1, 5))
    except PermissionError:
        os.mkfifo(place)


def not_text(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    (Path(os.fsdecode(os.fsencode(drop) + b"/lamps/\xff\xfe.png"))).write_bytes(b"x")


def twins(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    shutil.copy(drop / "lamps" / "0001.png", drop / "lamps" / "A.png")
    shutil.copy(drop / "lamps" / "0001.png", drop / "lamps" / "a.png")


def large_manifest(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    with (drop / "job.toml").open("a") as file:
        for _ in range(50):
            file.write("#" * (2**20 - 1) + "\n")


def nested_manifest(drop: Path, canary: Path) -> None:
    (draw(drop, 1) / "job.toml").write_text("customer = " + "[" * 100_000)


def nested_tables(drop: Path, canary: Path) -> None:
    (draw(drop, 1) / "job.toml").write_text("[" + ".".join("a" * 50_000) + "]\nb = 1\n")


def large_number(drop: Path, canary: Path) -> None:
    (draw(drop, 1) / "job.toml").write_text('customer = "C"\nradio = "tiny"\n[motion]\nfps = ' + "9" * 10_000)


def deep(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    place = drop
    for _ in range(60):
        place = place / "a"
        place.mkdir()
    (place / "0001.png").write_bytes(b"x")


def crowd(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    for number in range(20_000):
        (drop / f"n{number:05d}.txt").touch()


def crowd_of_pictures(drop: Path, canary: Path) -> None:
    draw(drop, 1)
    for number in range(300):
        (drop / "lamps" / f"n{number:05d}.png").write_bytes(b"\x89PNG\r\n\x1a\n")


def sparse(drop: Path, canary: Path) -> None:
    with (draw(drop, 1) / "lamps" / "0004.png").open("wb") as file:
        file.truncate(4 * 2**30)


def sparse_within_limits(drop: Path, canary: Path) -> None:
    """Looks like a picture at its beginning and is a gigabyte of nothing."""
    with (draw(drop, 1) / "lamps" / "0004.png").open("wb") as file:
        file.write((drop / "lamps" / "0001.png").read_bytes()[:60])
        file.truncate(1000 * 2**20)


def endless_picture(drop: Path, canary: Path) -> None:
    """PNG, 11.2.1: a header that says 60,000 x 60,000 pixels."""
    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(10_000))
    chunks = [(b"IHDR", head), (b"IDAT", rows), (b"IEND", b"")]
    data = b"".join(
        struct.pack(">I", len(d)) + name + d + struct.pack(">I", zlib.crc32(name + d)) for name, d in chunks
    )
    (draw(drop, 1) / "lamps" / "0004.png").write_bytes(b"\x89PNG\r\n\x1a\n" + data)


def _zip(place: Path, entries: list[tuple[str, bytes]], packed: bool = False) -> None:
    folder = draw(place.with_name(f".{place.name}-drawn"), 1)
    method = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
    with zipfile.ZipFile(place, "w", method) as archive:
        for path in sorted(folder.rglob("*.*")):
            archive.write(path, path.relative_to(folder))
        for name, data in entries:
            archive.writestr(name, data)
    shutil.rmtree(folder)


def zip_slip(drop: Path, canary: Path) -> None:
    up = "../" * 12
    _zip(drop.with_suffix(".zip"), [(f"{up}{canary.relative_to('/')}/slipped.png", b"x"), ("..\\..\\slipped", b"x")])


def zip_absolute(drop: Path, canary: Path) -> None:
    _zip(drop.with_suffix(".zip"), [(f"{canary}/absolute.png", b"x")])


def zip_with_link(drop: Path, canary: Path) -> None:
    info = zipfile.ZipInfo("out")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    _zip(drop.with_suffix(".zip"), [])
    with zipfile.ZipFile(drop.with_suffix(".zip"), "a") as archive:
        archive.writestr(info, str(canary))
        archive.writestr("out/through.png", b"x")


def zip_bomb(drop: Path, canary: Path) -> None:
    _zip(drop.with_suffix(".zip"), [("lamps/0004.png", bytes(256 * 2**20))], packed=True)


def zip_doubled(drop: Path, canary: Path) -> None:
    with_warning = drop.with_suffix(".zip")
    _zip(with_warning, [("lamps/0008.png", b"a"), ("lamps/0009.png", b"b")])
    data = with_warning.read_bytes()
    with_warning.write_bytes(data.replace(b"lamps/0009.png", b"lamps/0008.png"))


def zip_crowd(drop: Path, canary: Path) -> None:
    _zip(drop.with_suffix(".zip"), [(f"n{number}", b"") for number in range(30_000)])


def zip_cut_off(drop: Path, canary: Path) -> None:
    _zip(drop.with_suffix(".zip"), [])
    data = drop.with_suffix(".zip").read_bytes()
    drop.with_suffix(".zip").write_bytes(data[: len(data) // 2])


def long_name(drop: Path, canary: Path) -> None:
    draw(drop.with_name(drop.name + "x" * (255 - len(drop.name))), 1)


def odd_name(drop: Path, canary: Path) -> None:
    draw(drop.with_name("a\nb <script>'\"&.. "), 1)


def name_not_text(drop: Path, canary: Path) -> None:
    draw(drop, 1).rename(os.fsdecode(os.fsencode(drop) + b"\xff\xfe"))


def inner_folder_not_text(drop: Path, canary: Path) -> None:
    """The drop lies in a folder of its own, whose name is no text."""
    draw(drop.with_name(".inner"), 1)
    drop.mkdir()
    drop.with_name(".inner").rename(os.fsdecode(os.fsencode(drop) + b"/van\xff"))


def zip_name_not_text(drop: Path, canary: Path) -> None:
    _zip(drop.with_suffix(".zip"), [])
    drop.with_suffix(".zip").rename(os.fsdecode(os.fsencode(drop) + b"\xff\xfe.zip"))


HOSTILE: dict[str, Maker] = {
    made.__name__: made
    for made in (
        link_out, folder_link_out, manifest_link_out, notice_link_out, drop_is_a_link, drop_is_a_link_to_a_file,
        drop_is_a_dangling_link, hard_link, pipe, pipe_as_manifest, drop_is_a_pipe, sock, device, not_text, twins,
        large_manifest, nested_manifest, nested_tables, large_number, deep, crowd, crowd_of_pictures, sparse,
        sparse_within_limits, endless_picture, zip_slip, zip_absolute, zip_with_link, zip_bomb, zip_doubled,
        zip_crowd, zip_cut_off, long_name, odd_name, name_not_text, inner_folder_not_text,
        zip_name_not_text,
    )
}  # fmt: skip
