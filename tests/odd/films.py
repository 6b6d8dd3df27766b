"""Odd clips: GIF, APNG and WebP with every disposal and blend; what each frame shows is laid down here.

GIF89a (CompuServe, 1990); PNG specification, third edition, 11.3.4 (acTL, fcTL, fdAT). Areas that a GIF clears become
transparent: common practice of browsers, no source.
"""

from __future__ import annotations

import io
import itertools
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from odd import pngs
from odd.marker import ALPHA, COLOURS, Odd, exif, seen, shown, spread, stored

SIZE = (48, 64)
PALETTE = np.concatenate([COLOURS.reshape(-1, 3), [[5, 5, 5], [90, 90, 90], [180, 180, 180], [0, 0, 0]]])
CLEAR = 15


@dataclass(frozen=True)
class Cel:
    """RGBA pixels at x, y; `dispose` and `blend` as the format numbers them; `delay` in hundredths."""

    pixels: NDArray[Any]
    x: int = 0
    y: int = 0
    dispose: int = 0
    blend: int = 1
    delay: int = 7


# -- GIF --------------------------------------------------------------------------------------------


def gif(
    cels: list[Cel], *, screen: tuple[int, int] = SIZE, own: bool = False, laced: bool = False,
    version: bytes = b"GIF89a", shared: bool = True, after: bytes = b";", between: bytes = b"",
) -> bytes:  # fmt: skip
    """`own`: each frame has its own palette, in another order than the shared one."""
    flags = 0xF3 if shared else 0x70
    parts = [version, struct.pack("<HHBBB", *screen, flags, 3, 0)]
    parts.append(PALETTE.astype(np.uint8).tobytes() if shared else b"")
    for cel in cels:
        high, wide = cel.pixels.shape[:2]
        table = np.roll(PALETTE[:CLEAR], 4, 0) if own else PALETTE[:CLEAR]
        indices = _indices(cel.pixels, table)
        if version == b"GIF89a":
            clear = bool((indices == CLEAR).any())
            parts.append(b"!\xf9\x04" + struct.pack("<BHBB", cel.dispose << 2 | clear, cel.delay, CLEAR, 0))
        parts.append(between + b"," + struct.pack("<HHHHB", cel.x, cel.y, wide, high, own * 0x83 | laced * 0x40))
        parts.append(np.append(table, [[0, 0, 0]], 0).astype(np.uint8).tobytes() if own else b"")
        order = [*range(0, high, 8), *range(4, high, 8), *range(2, high, 4), *range(1, high, 2)]
        parts.append(lzw(indices[order] if laced else indices))
    return b"".join(parts) + after


def _indices(pixels: NDArray[Any], table: NDArray[Any]) -> NDArray[np.uint8]:
    nearest = np.abs(pixels[..., None, :3].astype(int) - table).sum(-1).argmin(-1)
    return np.where(pixels[..., 3] > 127, nearest, CLEAR).astype(np.uint8)


def lzw(indices: NDArray[np.uint8]) -> bytes:
    """Codes of 5 bits, and a clear code (16) before the table could make them wider (GIF89a, appendix F)."""
    flat = indices.reshape(-1)
    lead = np.full((-(-len(flat) // 14), 1), 16)
    body = np.concatenate([flat, np.full(-len(flat) % 14, 255)]).reshape(-1, 14)
    codes = np.append(np.concatenate([lead, body], 1).reshape(-1), 17)
    codes = codes[codes != 255]
    data = np.packbits((codes[:, None] >> np.arange(5) & 1).reshape(-1), bitorder="little").tobytes()
    blocks = [data[i : i + 255] for i in range(0, len(data), 255)]
    return b"\4" + b"".join(bytes([len(block)]) + block for block in blocks) + b"\0"


# -- APNG -------------------------------------------------------------------------------------------


def apng(cels: list[Cel], *, still: NDArray[Any] | None = None, bits: int = 8, first: bytes = b"") -> bytes:
    parts = [pngs.SIGNATURE, pngs.chunk(b"IHDR", struct.pack(">IIBBBBB", *SIZE, bits, 6, 0, 0, 0)), first]
    parts.append(pngs.chunk(b"acTL", struct.pack(">II", len(cels), 0)))
    numbers = itertools.count()
    scale = 257 if bits == 16 else 1
    if still is not None:
        parts.append(pngs.chunk(b"IDAT", pngs.stream(still.astype(int) * scale, bits)))
    for i, cel in enumerate(cels):
        high, wide = cel.pixels.shape[:2]
        place = struct.pack(">IIIII", next(numbers), wide, high, cel.x, cel.y)
        way = struct.pack(">HHBB", cel.delay, 100, cel.dispose, cel.blend)
        parts.append(pngs.chunk(b"fcTL", place + way))
        data = pngs.stream(cel.pixels.astype(int) * scale, bits, filters=5)
        if i == 0 and still is None:
            parts.append(pngs.chunk(b"IDAT", data))
        else:
            pieces = (data[:11], data[11:])
            parts += [pngs.chunk(b"fdAT", struct.pack(">I", next(numbers)) + piece) for piece in pieces]
    return b"".join(parts) + pngs.chunk(b"IEND", b"")


# -- laying down ------------------------------------------------------------------------------------


def composed(cels: list[Cel], kind: str) -> list[NDArray[np.float64]]:
    """Each frame as RGBA (H, W, 4) of floats."""
    canvas = np.zeros((SIZE[1], SIZE[0], 4))
    frames = []
    for number, cel in enumerate(cels):
        high, wide = cel.pixels.shape[:2]
        box = np.s_[cel.y : cel.y + high, cel.x : cel.x + wide]
        before = canvas[box].copy()
        over = kind == "gif" or cel.blend == 1
        canvas[box] = _over(cel.pixels.astype(float), before) if over else cel.pixels
        frames.append(canvas.copy())
        cleared = cel.dispose == 2 if kind == "gif" else cel.dispose == 1 or (cel.dispose == 2 and not number)
        if cleared:
            canvas[box] = 0
        elif cel.dispose == (3 if kind == "gif" else 2):
            canvas[box] = before
    return frames


def _over(front: NDArray[np.float64], back: NDArray[np.float64]) -> NDArray[np.float64]:
    a, b = front[..., 3:] / 255, back[..., 3:] / 255
    alpha = a + b * (1 - a)
    colours = (front[..., :3] * a + back[..., :3] * b * (1 - a)) / np.maximum(alpha, 1e-9)
    return np.concatenate([colours, 255 * alpha], -1)


def looks(frames: list[NDArray[np.float64]]) -> tuple[NDArray[np.float64], ...]:
    """Frames on the black ground of the tests."""
    return tuple(seen(frame[..., :3] * frame[..., 3:] / 255) for frame in frames)


def scene(turn: int = 0, *, clear: bool = False) -> NDArray[Any]:
    """The scene as RGBA; `turn` moves the colours on by so many blocks."""
    alpha = np.where(ALPHA > 127, 255, 0) if clear else np.full((4, 3), 255)
    colours = np.roll(COLOURS.reshape(-1, 3), turn, 0).reshape(4, 3, 3)
    return spread(np.concatenate([colours, alpha[..., None].astype(np.uint8)], -1).astype(np.uint8), SIZE)


def drawn(disposals: tuple[int, ...], blends: tuple[int, ...] = (1, 1, 1), *, soft: bool = False) -> list[Cel]:
    """A whole scene, a middle piece and a corner, with holes in them."""
    whole, middle, corner = scene(), scene(5, clear=True)[16:48, 16:48], scene(8, clear=True)[:32, :32]
    if soft:
        middle = middle.copy()
        middle[..., 3] = middle[..., 3] // 2
    last = Cel(scene(3, clear=True)[32:, 16:], 16, 32)
    boxes = [(whole, 0, 0), (middle, 16, 16), (corner, 0, 0)]
    ways = zip(boxes, disposals, blends, strict=True)
    return [*(Cel(p, x, y, dispose, blend) for (p, x, y), dispose, blend in ways), last]


def files() -> Iterator[Odd]:
    for ways in itertools.product(range(4), repeat=3):
        cels = drawn(ways)
        own, laced = bool(ways[0] & 1), bool(ways[1] & 1)
        data = gif(cels, own=own, laced=laced, shared=not own)
        yield Odd(f"gif-disposals{''.join(map(str, ways))}", data, looks(composed(cels, "gif")))
    yield from _gif_stills()
    for number, (ways, blends) in enumerate(
        itertools.product(itertools.product(range(3), repeat=3), itertools.product((0, 1), repeat=3))
    ):
        cels = drawn(ways, blends, soft=True)
        still = scene(1) if number % 3 == 0 else None
        data = apng(cels, still=still, bits=16 if number % 5 == 0 else 8)
        yield Odd(f"apng-ways{number}", data, looks(composed(cels, "png")), apart=6)
    for turn in range(1, 9):
        yield from _turned(turn)


def _gif_stills() -> Iterator[Odd]:
    one, clear = Cel(scene()), Cel(scene(clear=True))
    extension = b"!\xff\x0bNETSCAPE2.0\x03\x01\0\0\0" + b"!\xfe\x05lamps\0" + b"!\x01\x0c" + bytes(12) + b"\1x\0"
    for number, (own, laced, version) in enumerate(
        itertools.product((False, True), (False, True), (b"GIF87a", b"GIF89a"))
    ):
        how: dict[str, Any] = {"own": own, "laced": laced, "version": version}
        wanted = (shown(COLOURS),)
        yield Odd(f"gif-still{number}", gif([one], **how), wanted)
        yield Odd(f"gif-screen0-{number}", gif([one], screen=(0, 0), **how), wanted)
        yield Odd(f"gif-noend-{number}", gif([one], after=b"", **how), wanted)
        yield Odd(f"gif-garbage-{number}", gif([one], after=b";garbage" * 40, **how), wanted)
        yield Odd(f"gif-words-{number}", gif([one], between=extension, **how), wanted)
        yield Odd(f"gif-unshared-{number}", gif([one], **{**how, "own": True}, shared=False), wanted)
        if version == b"GIF89a":
            yield Odd(f"gif-clear{number}", gif([clear], **how), looks(composed([clear], "gif")))
            for delay in (0, 1, 2, 65535):
                late = [Cel(scene(), delay=delay), Cel(scene(1), delay=delay)]
                yield Odd(f"gif-delay{delay}-{number}", gif(late, **how), looks(composed(late, "gif")))
    yield from _astray()
    small = [Cel(scene()[16:48, 16:32], 16, 16), Cel(scene(2))]
    yield Odd("gif-first-small", gif(small), looks(composed(small, "gif")))


def _astray() -> Iterator[Odd]:
    """Frames beyond the screen, of no size, or without any palette; screens of absurd size."""
    base, beyond = Cel(scene()), Cel(scene(3)[:40, :40], 30, 40)
    inside = composed([base, Cel(scene(3)[:24, :18], 30, 40)], "gif")
    yield Odd("gif-beyond", gif([base, beyond]), looks(inside))
    far = gif([base, Cel(scene(3)[:8, :8], 300, 400)])
    yield Odd("gif-far", far, looks(composed([base, base], "gif")))
    yield Odd("apng-beyond", apng([base, beyond]), expect="any")
    yield Odd("apng-alone", apng([base]), looks(composed([base], "png")))
    yield Odd("gif-unpainted", gif([base], shared=False), expect="any")
    yield Odd("gif-nothing", gif([base, Cel(scene()[:0, :0])]), expect="any")
    for number in (1, 2):
        yield Odd(f"gif-vast{number}", gif([base] * number, screen=(65535, 65535)), expect="refused")


def _turned(turn: int) -> Iterator[Odd]:
    """Clips and stills of WebP, and APNG, that ask to be turned."""
    frames = [np.ascontiguousarray(stored(scene(step), turn)) for step in (0, 3, 7)]
    pictures = [Image.fromarray(frame) for frame in frames]
    wanted = tuple(shown(np.roll(COLOURS.reshape(-1, 3), step, 0).reshape(4, 3, 3)) for step in (0, 3, 7))
    for name, how in [("lossless", {"lossless": True}), ("lossy", {"quality": 92}), ("rough", {"quality": 60})]:
        for order in ("II", "MM"):
            how = {**how, "exif": exif(turn, order)}
            for moves in (False, True):
                file = io.BytesIO()
                more = pictures[1:] if moves else []
                pictures[0].save(file, "WEBP", **how, save_all=moves, append_images=more, duration=70)
                tag = f"webp-{name}{'-clip' if moves else ''}-{turn}{order}"
                yield Odd(tag, file.getvalue(), wanted if moves else wanted[:1], apart=22)
    alpha = np.ascontiguousarray(stored(spread(np.concatenate([COLOURS, ALPHA[..., None]], -1), SIZE), turn))
    file = io.BytesIO()
    Image.fromarray(alpha).save(file, "WEBP", lossless=True, exact=True, exif=exif(turn))
    yield Odd(f"webp-alpha-{turn}", file.getvalue(), (shown(COLOURS, ALPHA),))
    if turn < 5:
        held = pngs.chunk(b"eXIf", exif(turn))
        cels = [Cel(frame) for frame in frames]
        yield Odd(f"apng-turn{turn}", apng(cels, first=held), wanted)
