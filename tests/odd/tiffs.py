"""Odd TIFF files by the letter of TIFF 6.0 and its technical notes: every photometry, depth, layout and byte order."""

from __future__ import annotations

import io
import itertools
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from odd import light
from odd.marker import ALPHA, BITS, COLOURS, GREYS, Expect, Odd, shown, spread, stored

SIZE = (60, 80)
MINWHITE, MINBLACK, RGB, PALETTE, INKS, LAB = 0, 1, 2, 3, 5, 8
_SIZES = {3: 2, 4: 4, 7: 1, 5: 8}


@dataclass(frozen=True)
class Tiff:
    """One page. `samples` (H, W, channels) as stored; `kind` 1 unsigned, 2 signed, 3 floating point."""

    samples: NDArray[Any]
    photometric: int
    bits: int
    order: str = "<"
    compress: int = 1
    predictor: int = 1
    planar: int = 1
    tile: int = 0
    strip: int = 0
    turn: int = 1
    kind: int = 1
    fill: int = 1
    extra: tuple[tuple[int, int, tuple[int, ...]], ...] = ()

    def planes(self) -> list[NDArray[Any]]:
        if self.planar == 1:
            return [self.samples]
        return [self.samples[..., i : i + 1] for i in range(self.samples.shape[2])]

    def blocks(self) -> list[bytes]:
        high, wide = self.samples.shape[:2]
        found = []
        for plane in self.planes():
            if self.tile:
                side = self.tile
                padded = np.pad(plane, ((0, -high % side), (0, -wide % side), (0, 0)), mode="edge")
                corners = itertools.product(range(0, high, side), range(0, wide, side))
                found += [padded[y : y + side, x : x + side] for y, x in corners]
            else:
                step = self.strip or high
                found += [plane[y : y + step] for y in range(0, high, step)]
        return [self.packed(block) for block in found]

    def packed(self, block: NDArray[Any]) -> bytes:
        data = self.raw(block)
        if self.fill == 2:
            data = np.packbits(np.unpackbits(np.frombuffer(data, np.uint8)).reshape(-1, 8)[:, ::-1]).tobytes()
        if self.compress in (8, 32946):
            return zlib.compress(data)
        if self.compress == 32773:
            return packbits(data, len(data) // len(block))
        return data

    def raw(self, block: NDArray[Any]) -> bytes:
        if self.bits < 8 or self.bits == 12:
            flat = block.reshape(len(block), -1)
            spread_bits = flat[..., None] >> np.arange(self.bits - 1, -1, -1) & 1
            return np.packbits(spread_bits.reshape(len(flat), -1), axis=1).tobytes()
        letter = {1: "u", 2: "i", 3: "f"}[self.kind]
        values = block.astype(f"{self.order}{letter}{self.bits // 8}")
        if self.predictor == 2:
            before = np.pad(values, ((0, 0), (1, 0), (0, 0)))[:, :-1]
            values = (values - before).astype(values.dtype)
        if self.predictor == 3:  # bytes by significance, then differences (TIFF technical note 3)
            flat = np.ascontiguousarray(block.astype(">f4").reshape(len(block), -1))
            bytes_first = flat.view(np.uint8).reshape(len(block), -1, 4).swapaxes(1, 2).reshape(len(block), -1)
            step = block.shape[2]
            before = np.pad(bytes_first, ((0, 0), (step, 0)))[:, :-step]
            return (bytes_first - before).astype(np.uint8).tobytes()
        return values.tobytes()


def packbits(data: bytes, row: int) -> bytes:
    """Literal runs and repeats, no run across rows (TIFF 6.0, section 9)."""
    out = bytearray()
    for start in range(0, len(data), row):
        for value, run in itertools.groupby(data[start : start + row]):
            left = len(list(run))
            while left:
                here = min(left, 128)
                out += bytes([257 - here, value]) if here > 1 else bytes([0, value])
                left -= here
    return bytes(out)


def written(*pages: Tiff) -> bytes:
    """A whole file; of several pages the first comes first."""
    order = pages[0].order
    out = bytearray((b"II*\0" if order == "<" else b"MM\0*") + bytes(4))
    link = 4
    for page in pages:
        link = _page(out, page, link)
    return bytes(out)


def _page(out: bytearray, page: Tiff, link: int) -> int:
    """Appends a page's blocks and directory; gives where the next page's link stands."""
    order, places, lengths = page.order, list[int](), list[int]()
    for block in page.blocks():
        out += bytes(len(out) % 2)
        places.append(len(out))
        lengths.append(len(block))
        out += block
    struct.pack_into(f"{order}I", out, link, _aligned(out))
    tags = _tags(page, places, lengths)
    at = len(out) + 2 + 12 * len(tags) + 4
    later, table = b"", b""
    for tag, kind, values in sorted(tags):
        body = b"".join(struct.pack(f"{order}{ {3: 'H', 4: 'I', 7: 'B'}[kind] }", v) for v in values)
        if len(body) > 4:
            body, later = struct.pack(f"{order}I", at + len(later)), later + body + bytes(len(body) % 2)
        table += struct.pack(f"{order}HHI", tag, kind, len(values)) + body.ljust(4, b"\0")
    out += struct.pack(f"{order}H", len(tags)) + table
    link = len(out)
    out += bytes(4) + later
    return link


def _aligned(out: bytearray) -> int:
    out += bytes(len(out) % 2)
    return len(out)


def _tags(page: Tiff, places: list[int], lengths: list[int]) -> list[tuple[int, int, tuple[int, ...]]]:
    high, wide, depth = page.samples.shape
    tags: list[tuple[int, int, tuple[int, ...]]] = [
        (256, 4, (wide,)), (257, 4, (high,)), (258, 3, (page.bits,) * depth), (259, 3, (page.compress,)),
        (262, 3, (page.photometric,)), (277, 3, (depth,)), (284, 3, (page.planar,)), (339, 3, (page.kind,) * depth),
    ]  # fmt: skip
    if page.tile:
        tags += [(322, 3, (page.tile,)), (323, 3, (page.tile,)), (324, 4, tuple(places)), (325, 4, tuple(lengths))]
    else:
        tags += [(273, 4, tuple(places)), (278, 4, (page.strip or high,)), (279, 4, tuple(lengths))]
    optional = [(266, page.fill), (274, page.turn), (317, page.predictor)]
    return tags + [(tag, 3, (value,)) for tag, value in optional if value != 1] + list(page.extra)


# -- the scene in each photometry -------------------------------------------------------------------


def scenes() -> Iterator[tuple[str, Tiff, NDArray[np.float64], Expect]]:
    """Name, an upright page, how it looks, and what is expected of it."""
    for bits in (1, 2, 4, 8, 12, 16, 32):
        most = 2**bits - 1
        base = BITS * 255 if bits == 1 else GREYS
        samples = np.round(base.astype(float) * most / 255).astype(np.int64)
        looks = shown(samples * 255.0 / most)
        expect: Expect = "either" if bits in (12, 32) else "made"
        yield f"black{bits}", Tiff(spread(samples[..., None], SIZE), MINBLACK, bits), looks, expect
        yield f"white{bits}", Tiff(spread(most - samples[..., None], SIZE), MINWHITE, bits), looks, expect
    yield "float", Tiff(spread(GREYS[..., None] / 255, SIZE), MINBLACK, 32, kind=3), shown(GREYS), "made"
    for bits in (8, 16):
        scale = 257 if bits == 16 else 1
        rgb = COLOURS.astype(np.int64) * scale
        yield f"rgb{bits}", Tiff(spread(rgb, SIZE), RGB, bits), shown(COLOURS), "made"
        straight = np.concatenate([rgb, ALPHA[..., None].astype(np.int64) * scale], -1)
        weighed = np.round(shown(COLOURS, ALPHA)).astype(np.int64) * scale
        joined = np.concatenate([weighed, straight[..., 3:]], -1)
        for name, page, kind in [("straight", straight, 2), ("weighed", joined, 1)]:
            tiff = Tiff(spread(page, SIZE), RGB, bits, extra=((338, 3, (kind,)),))
            yield f"{name}{bits}", tiff, shown(COLOURS, ALPHA), "made"
        inks = np.concatenate([(255 - COLOURS).astype(np.int64), np.zeros((4, 3, 1), np.int64)], -1)
        yield f"inks{bits}", Tiff(spread(inks * scale, SIZE), INKS, bits), shown(COLOURS), "made"
    for bits in (1, 2, 4, 8):
        indices = {1: BITS, 2: GREYS // 64}.get(bits, np.arange(12).reshape(4, 3)).astype(np.int64)
        table = np.resize(COLOURS.reshape(-1, 3), (2**bits, 3))
        colours = tuple(int(v) * 257 for v in table.T.reshape(-1))
        tiff = Tiff(spread(indices[..., None], SIZE), PALETTE, bits, extra=((320, 3, colours),))
        yield f"palette{bits}", tiff, shown(table[indices]), "made"
    lab = np.stack([GREYS / 2.55 * 0.8 + 10, GREYS / 12 - 10, 10 - GREYS / 12], -1).round()
    kept = np.stack([np.round(lab[..., 0] * 2.55), lab[..., 1], lab[..., 2]], -1).astype(np.int64) & 255
    yield "lab8", Tiff(spread(kept, SIZE), LAB, 8), light.lab_to_srgb(lab), "made"


def files() -> Iterator[Odd]:
    for name, page, looks, expect in scenes():
        for order, layout in itertools.product("<>", _layouts(page)):
            data = written(replace(page, order=order, **layout))
            tag = "".join(f"{key[0]}{value}" for key, value in layout.items()) or "plain"
            odd = "either" if _is_exotic(page, layout) else expect
            yield Odd(f"tiff-{name}-{'II' if order == '<' else 'MM'}{tag}", data, (looks,), odd)
        for turn in range(1, 9):
            turned = replace(page, samples=stored(page.samples, turn), turn=turn, strip=7)
            yield Odd(f"tiff-{name}-turn{turn}", written(turned), (looks,), expect)
        pages = [page, replace(page, samples=page.samples[::-1])]
        yield Odd(f"tiff-{name}-pages", written(*pages), (looks,), expect)
    yield from _by_libtiff()


def _layouts(page: Tiff) -> Iterator[dict[str, Any]]:
    yield {}
    yield {"strip": 7}
    yield {"compress": 8}
    yield {"compress": 32946, "strip": 16}
    yield {"compress": 32773}
    yield {"tile": 16}
    yield {"tile": 16, "compress": 8}
    yield {"fill": 2}
    if page.bits in (8, 16) and page.photometric != PALETTE:
        yield {"compress": 8, "predictor": 2}
        yield {"compress": 8, "predictor": 2, "tile": 16}
    if page.kind == 3:
        yield {"compress": 8, "predictor": 3}
    if page.samples.shape[2] > 1:
        yield {"planar": 2}
        yield {"planar": 2, "compress": 8, "strip": 9}
        yield {"planar": 2, "tile": 16}


def _is_exotic(page: Tiff, layout: dict[str, Any]) -> bool:
    """Layouts that no paint program is known to write (common practice, no source): bits backwards, colour planes in
    tiles, L*a*b* in planes."""
    planes = layout.get("planar") == 2
    return "fill" in layout or (planes and ("tile" in layout or page.photometric == LAB))


def _by_libtiff() -> Iterator[Odd]:
    """Compressions that are libtiff's to write."""
    for name, blocks, ways in [
        ("rgb", COLOURS, ["tiff_lzw", "jpeg", "zstd", "lzma", "packbits", "tiff_adobe_deflate"]),
        ("grey", GREYS, ["tiff_lzw", "jpeg", "zstd", "lzma", "packbits"]),
        ("bits", BITS * 255, ["group3", "group4", "tiff_ccitt", "tiff_lzw", "packbits"]),
    ]:
        for way, turn in itertools.product(ways, range(1, 9)):
            image = Image.fromarray(np.ascontiguousarray(stored(spread(blocks, SIZE), turn)))
            file = io.BytesIO()
            image = image.convert("1") if name == "bits" else image
            quality = {"quality": 95} if way == "jpeg" else {}
            image.save(file, "TIFF", compression=way, tiffinfo={274: turn}, **quality)
            apart = 22 if way == "jpeg" else 4
            yield Odd(f"tiff-{name}-{way}{turn}", file.getvalue(), (shown(blocks),), apart=apart)
