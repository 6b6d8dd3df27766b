"""Sequences with a known verdict, 30 pictures a second: kind, name, whether they must pass, and the pictures.

Labels come from how each sequence is built, by the definitions of WCAG 2.2 (success criterion 2.3.1) and the
transition count of technique G19, never from the meter. Random choices are drawn from numbered generators.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

FPS = 30
TINY = (48, 36)
SMALL = (256, 192)
WCAG = (512, 384)
"""A window of the 1024 x 768 screen, at its own scale: the field on it is 341 x 256 px."""
Rgb = tuple[int, int, int]


@dataclass(frozen=True)
class Sequence:
    kind: str
    name: str
    passes: bool
    size: tuple[int, int]
    pictures: int
    picture: Callable[[int], np.ndarray]


def luminance(rgb: Rgb) -> float:
    c = np.array(rgb) / 255
    return float(np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722])


def grey(level: float) -> Rgb:
    return (round(level),) * 3


def is_general(a: Rgb, b: Rgb) -> bool:
    return abs(luminance(a) - luminance(b)) >= 0.10 and min(luminance(a), luminance(b)) < 0.80


def flat(size: tuple[int, int], rgb: Rgb) -> np.ndarray:
    return np.full((size[1], size[0], 3), rgb, np.uint8)


def even(kind: str, name: str, passes: bool, colours: list[Rgb]) -> Sequence:
    """Pictures of the whole screen in one colour each."""
    return Sequence(kind, name, passes, TINY, len(colours), lambda n: flat(TINY, colours[n]))


def square(a: Rgb, b: Rgb, hold: int, pictures: int) -> list[Rgb]:
    return [(a, b)[n // hold % 2] for n in range(pictures)]


def switched(changes: list[int], a: Rgb, b: Rgb, pictures: int) -> list[Rgb]:
    """`a` and `b` in turn, changing at the picture numbers given."""
    return [(a, b)[sum(c <= n for c in changes) % 2] for n in range(pictures)]


def too_many(changes: list[int]) -> bool:
    """Seven transitions within thirty pictures (technique G19: seven fail, six pass)."""
    return any(changes[i + 6] - changes[i] < FPS for i in range(len(changes) - 6))


# -- luminance --------------------------------------------------------------------------------------


def greys_near_thresholds() -> Iterator[Sequence]:
    rng = np.random.default_rng(11)
    pairs = [(0, 89), (0, 90), (230, 255), (231, 255), (232, 255), (128, 152), (128, 162), (0, 255), (200, 214)]
    pairs += [tuple(sorted(rng.integers(0, 256, 2).tolist())) for _ in range(35)]
    for low, high in pairs:
        for hold in (4, 5):
            a, b = grey(low), grey(high)
            changes = list(range(hold, 40, hold))
            passes = not (is_general(a, b) and too_many(changes))
            yield even("luminance", f"grey {low}/{high} held {hold}", passes, square(a, b, hold, 40))


def fades() -> Iterator[Sequence]:
    waves = {
        "sine": lambda t: 0.5 - 0.5 * np.cos(2 * np.pi * t),
        "triangle": lambda t: 1 - abs(2 * (t % 1) - 1),
        "saw": lambda t: t % 1,
    }
    for name, wave in waves.items():
        for period in (4, 6, 8, 10, 15, 30):
            for low, high in ((0, 255), (0, 90), (0, 80), (225, 255), (236, 255)):
                levels = [grey(low + (high - low) * wave(n / period)) for n in range(45)]
                seen = [min(levels), max(levels)]
                passes = period >= 10 or not is_general(*seen)
                yield even("luminance", f"{name} {low}..{high} over {period}", passes, levels)


def bursts() -> Iterator[Sequence]:
    a, b = grey(20), grey(200)
    for hold in (1, 2, 3, 4):
        for number in (5, 6, 7, 8):
            changes = [5 + hold * n for n in range(number)]
            name = f"{number} transitions, {hold} apart"
            yield even("luminance", name, number < 7, switched(changes, a, b, 70))
    for gaps in ([5] * 6, [5, 5, 5, 5, 5, 4], [1, 1, 1, 1, 1, 24], [1, 1, 1, 1, 1, 25], [9, 1, 9, 1, 9, 1]):
        changes = np.cumsum([3, *gaps]).tolist()
        yield even("luminance", f"gaps {gaps}", not too_many(changes), switched(changes, a, b, 70))
    twice = [n + pause for pause in (0, 30, 60) for n in range(2, 14, 2)]
    yield even("luminance", "six transitions in each second", True, switched(twice, a, b, 80))
    close = [n + pause for pause in (0, 22) for n in range(2, 14, 2)]
    yield even("luminance", "six, and six again too soon", False, switched(close, a, b, 80))


def steps_and_wavering() -> Iterator[Sequence]:
    stairs = [grey(min(255, 25 * (n // 3))) for n in range(45)]
    yield even("luminance", "stairs, one way only", True, stairs)
    rng = np.random.default_rng(5)
    shaky = [grey(120 + int(rng.integers(-6, 7))) for _ in range(60)]
    yield even("luminance", "wavering below the threshold", True, shaky)
    cuts = [grey(level) for level in rng.permutation(256)[:12] for _ in range(10)]
    yield even("luminance", "three cuts a second", True, cuts)


# -- red --------------------------------------------------------------------------------------------


def reds() -> Iterator[Sequence]:
    red = (255, 0, 0)
    equal = (127, 127, 127)  # its luminance is within 0.01 of pure red's, so only the colour flashes
    # Distances in u'v' from pure red: white 0.259, yellow 0.249, blue 0.457 flash; orange 0.132 does not.
    cases: list[tuple[str, Rgb, Rgb, bool]] = [
        ("red/grey alike", red, equal, True),
        ("red/black", red, (0, 0, 0), True),
        ("red/white", red, (255, 255, 255), True),
        ("red/blue", red, (0, 0, 255), True),
        ("red/yellow", red, (255, 255, 0), True),
        ("dark red/black", (90, 0, 0), (0, 0, 0), True),
        ("dark red/dark blue", (90, 0, 0), (0, 0, 120), True),
        ("dark red/dark grey", (80, 0, 0), (50, 50, 50), True),
        ("red/orange", (200, 0, 0), (180, 60, 0), False),
        ("pink/grey", (160, 110, 110), (127, 127, 127), False),
        ("dark blue/black", (0, 0, 90), (0, 0, 0), False),
        ("dark magenta/black", (60, 0, 60), (0, 0, 0), False),
        ("red/darker red", (140, 0, 0), (90, 0, 0), False),
    ]
    for name, a, b, flashes in cases:
        for hold in (1, 2, 3, 4, 5, 7):
            passes = not flashes or hold >= 5
            if is_general(a, b) and not flashes:
                raise AssertionError(name)
            yield even("red", f"{name} held {hold}", passes, square(a, b, hold, 45))


def is_red_change(a: Rgb, b: Rgb) -> bool:
    """WCAG 2.2: one state R/(R+G+B) >= 0.8 in linear light, the states more than 0.2 apart in CIE 1976 u'v'."""
    (ratio_a, uv_a), (ratio_b, uv_b) = map(redness, (a, b))
    return max(ratio_a, ratio_b) >= 0.8 and float(np.hypot(*(uv_a - uv_b))) > 0.2


def redness(rgb: Rgb) -> tuple[float, np.ndarray]:
    c = np.array(rgb) / 255
    c = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    x, y, z = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ c
    return float(c[0] / c.sum()), np.array([4 * x, 9 * y]) / (x + 15 * y + 3 * z)


def any_colours() -> Iterator[Sequence]:
    rng = np.random.default_rng(29)
    for _ in range(60):
        a = (int(rng.integers(60, 256)), *rng.integers(0, 90, 2).tolist())
        b = tuple(rng.integers(10, 256, 3).tolist())
        passes = not (is_general(a, b) or is_red_change(a, b))
        yield even("red", f"{a}/{b}", passes, square(a, b, 2, 20))
    for _ in range(40):  # both dim, so that luminance alone does not decide
        a = (int(rng.integers(40, 100)), *rng.integers(0, 30, 2).tolist())
        b = tuple(rng.integers(5, 85, 3).tolist())
        passes = not (is_general(a, b) or is_red_change(a, b))
        yield even("red", f"{a}/{b}", passes, square(a, b, 2, 20))


def red_fades() -> Iterator[Sequence]:
    ends = {"grey": (127, 127, 127), "blue": (0, 0, 255), "black": (0, 0, 0)}
    for name, end in ends.items():
        for period in (6, 8, 10, 15):
            mix = [0.5 - 0.5 * np.cos(2 * np.pi * n / period) for n in range(60)]
            colours = [tuple(int(v) for v in np.rint(np.array((255, 0, 0)) * (1 - m) + np.array(end) * m)) for m in mix]
            yield even("red", f"fade to {name} over {period}", period >= 10, colours)


# -- area -------------------------------------------------------------------------------------------


def boxes(
    size: tuple[int, int],
    places: list[tuple[int, int, int, int]],
    on: Callable[[int, int], bool],
    ground: Rgb,
    ink: Rgb,
) -> Callable[[int], np.ndarray]:
    """Boxes (left, top, width, height) in `ink` where `on(box, picture)`."""

    def picture(n: int) -> np.ndarray:
        rgb = flat(size, ground)
        for number, (left, top, width, height) in enumerate(places):
            if on(number, n):
                rgb[top : top + height, left : left + width] = ink
        return rgb

    return picture


def one_box() -> Iterator[Sequence]:
    sizes = [(176, 124), (148, 147), (148, 148), (341, 63), (341, 65), (86, 254), (90, 254), (100, 100), (200, 200)]
    for width, height in sizes:
        for ink in (grey(110), grey(255), (255, 0, 0)):
            place = [(97, 71, width, height)]
            passes = width * height <= 21_824  # WCAG 2.2: a quarter of 341 x 256 px
            draw = boxes(WCAG, place, lambda _, n: n // 2 % 2 == 0, grey(0), ink)
            yield Sequence("area", f"box {width}x{height} {ink}", passes, WCAG, 16, draw)


def several_boxes() -> Iterator[Sequence]:
    # At 256 x 192 the field is 85.25 x 64 px and a quarter of it 1,364 px.
    near = [(60 + 30 * (n % 2), 60 + 28 * (n // 2)) for n in range(4)]
    far = [(10 + 120 * (n % 2), 10 + 90 * (n // 2)) for n in range(4)]
    for side, passes in ((17, True), (18, True), (19, False), (24, False)):
        at = [(x, y, side, side) for x, y in near]
        for name, shift in (("together", 0), ("out of step", 2), ("each in its turn", 1)):
            draw = boxes(SMALL, at, lambda b, n, s=shift: (n + s * b) // 2 % 2 == 0, grey(10), grey(180))
            yield Sequence("area", f"four boxes of {side} {name}", passes, SMALL, 45, draw)
    for side, passes in ((30, True), (36, True), (40, False)):
        at = [(x, y, side, side) for x, y in far]
        draw = boxes(SMALL, at, lambda _, n: n // 2 % 2 == 0, grey(10), grey(180))
        yield Sequence("area", f"four boxes of {side} far apart", passes, SMALL, 45, draw)
    pair = [(60, 60, 30, 30), (100, 60, 30, 30)]  # 900 px each: too much only if they flash at the same time
    for pause, passes in ((24, True), (4, False)):
        draw = boxes(SMALL, pair, lambda b, n, p=pause: 0 <= n - p * b < 9 and (n - p * b) % 2 == 1, grey(0), grey(255))
        yield Sequence("area", f"two bursts {pause} pictures apart", passes, SMALL, 45, draw)
    halves = [(0, 0, 128, 192), (128, 0, 128, 192)]
    for hold, passes in ((2, False), (3, False), (6, True), (10, True)):
        draw = boxes(SMALL, halves, lambda b, n, h=hold: n // h % 4 == 2 * b, grey(0), grey(255))
        yield Sequence("area", f"left and right in turn, {hold} each", passes, SMALL, 60, draw)


def moving_boxes() -> Iterator[Sequence]:
    for side, speed in ((30, 2), (60, 3), (90, 4), (20, 12)):

        def slide(n: int, side: int = side, speed: int = speed) -> np.ndarray:
            left = n * speed % (256 - side)
            return boxes(SMALL, [(left, 40, side, side)], lambda *_: True, grey(0), grey(255))(0)

        pictures = min(45, (256 - side) // speed)
        yield Sequence("area", f"box of {side} going {speed} a picture", True, SMALL, pictures, slide)
    for side, passes in ((26, True), (60, False)):

        def flicker(n: int, side: int = side) -> np.ndarray:
            return boxes(SMALL, [(20 + n, 40, side, side)], lambda *_: n // 2 % 2 == 0, grey(0), grey(255))(0)

        yield Sequence("area", f"flickering box of {side} on its way", passes, SMALL, 60, flicker)


def patterns() -> Iterator[Sequence]:
    y, x = np.indices((WCAG[1], WCAG[0]))
    # At 1024 x 768 a tenth of a degree is 3.41 px: squares of one or two pixels are exempt, of eight are not.
    for side, passes in ((1, True), (2, True), (8, False), (40, False)):
        board = (((y // side + x // side) % 2) * 255).astype(np.uint8)[..., None].repeat(3, axis=2)

        def reversing(n: int, board: np.ndarray = board) -> np.ndarray:
            return board if n // 2 % 2 else 255 - board

        yield Sequence("area", f"checkerboard of {side} px", passes, WCAG, 20, reversing)
    yield Sequence("area", "coloured white noise", True, WCAG, 32, lambda n: grain(n, (0, 255), 3))
    yield Sequence("area", "black and white snow", True, WCAG, 32, lambda n: grain(n, (0, 1), 1) * np.uint8(255))
    yield Sequence("area", "flicker under grain", False, WCAG, 20, lambda n: grain(n, (0, 60), 3) + flicker_step(n))


def grain(n: int, levels: tuple[int, int], channels: int) -> np.ndarray:
    rng = np.random.default_rng(n)
    values = rng.integers(levels[0], levels[1] + 1, (WCAG[1], WCAG[0], channels), dtype=np.uint8)
    return np.broadcast_to(values, (WCAG[1], WCAG[0], 3))


def flicker_step(n: int) -> np.uint8:
    return np.uint8(160 * (n // 2 % 2))


# -- combination ------------------------------------------------------------------------------------


def combinations() -> Iterator[Sequence]:
    base, light, red = (127, 127, 127), (255, 255, 255), (255, 0, 0)  # base and red are equally light
    for name, passes, script in (
        ("three of each in turn", True, [light, red] * 3),
        ("three general, then three red", True, [light] * 3 + [red] * 3),
        ("four general and two red", False, [light, red, light, red, light, light]),
        ("two general and four red", False, [red, light, red, red, light, red]),
        ("two of each", True, [light, red] * 2),
    ):
        second = [colour for flash in script for colour in (base, base, flash, flash)]
        second += [base] * (FPS - len(second))
        yield even("combination", name, passes, second + [base] * 35)
    for hold, passes in ((3, False), (6, True)):

        def both(n: int, hold: int = hold) -> np.ndarray:
            rgb = flat(SMALL, base)
            if n // hold % 2:
                rgb[:, :128], rgb[:, 128:] = light, red
            return rgb

        yield Sequence("combination", f"light left, red right, {hold} each", passes, SMALL, 60, both)
    for width, passes in ((14, True), (16, False)):  # 64 px high: each of the two under 1,364 px by itself

        def strips(n: int, width: int = width) -> np.ndarray:
            rgb = flat(SMALL, base)
            if n // 2 % 2:
                rgb[60:124, 90 : 90 + width] = light
                rgb[60:124, 130 : 130 + width // 2] = red
            return rgb

        total = width * 64 + width // 2 * 64
        assert (total <= 1364) == passes
        yield Sequence("combination", f"strips of light {width} and red {width // 2}", passes, SMALL, 45, strips)
    for reds, passes in ((6, True), (5, True), (4, False), (2, False)):
        yield even("combination", f"red/white held {reds} with fades", passes, square(red, light, reds, 45))


def all_sequences() -> list[Sequence]:
    makers = (
        greys_near_thresholds, fades, bursts, steps_and_wavering, reds, any_colours, red_fades,
        one_box, several_boxes, moving_boxes, patterns, combinations,
    )  # fmt: skip
    return [sequence for make in makers for sequence in make()]
