"""What an animation costs the radio's graphics memory while it plays.

Source: Android Open Source Project, frameworks/base, cmds/bootanimation: a part with count 1 reuses one
texture, a part that repeats keeps every frame as a texture until it ends; the first-generation player
rounds each side of a texture up to a power of two. A cropped frame's texture is of the size of its file.
Driver overhead is left out: it is not published.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from keyturn.radio.timeline import PlayedPart
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, refuse

MIB = 2**20

Size = tuple[int, int]
Cropped = Mapping[int, Sequence[Size]]
"""Sizes of the frames of each part (counted from 0) whose frames are cropped; of all others the panel's size holds."""


def texture_bytes(width: int, height: int, *, bytes_per_px: int, power_of_two: bool) -> int:
    """Bytes of one frame's texture, `width` x `height` in pixels, at least 1 each."""
    if power_of_two:
        width, height = _power_of_two(width), _power_of_two(height)
    return width * height * bytes_per_px


def _power_of_two(side: int) -> int:
    """The least power of two that is not below `side`."""
    return 1 << (side - 1).bit_length()


def textures(part: PlayedPart) -> int:
    """How many frames of the part are kept at once."""
    return 1 if part.count == 1 else part.frames


def loop_mib(frames: int, size: tuple[int, int], *, bytes_per_px: int, power_of_two: bool) -> float:
    """MiB that a repeating part of `frames` frames holds."""
    return frames * texture_bytes(*size, bytes_per_px=bytes_per_px, power_of_two=power_of_two) / MIB


def held_mib(part: PlayedPart, size: Size, cropped: Sequence[Size], *, bytes_per_px: int, power_of_two: bool) -> float:
    """MiB that a part holds whose frames are of `size`, or of their own where they are `cropped`."""
    if not cropped:
        return loop_mib(textures(part), size, bytes_per_px=bytes_per_px, power_of_two=power_of_two)
    each = [texture_bytes(*own, bytes_per_px=bytes_per_px, power_of_two=power_of_two) for own in cropped]
    return (max(each) if part.count == 1 else sum(each)) / MIB


def peak_mib(
    parts: Sequence[PlayedPart], size: Size, *, bytes_per_px: int, power_of_two: bool, cropped: Cropped | None = None
) -> float:
    """The most MiB held at any time: of the greediest part, for a part's textures go when it ends."""
    return max(
        (
            held_mib(part, size, (cropped or {}).get(i, ()), bytes_per_px=bytes_per_px, power_of_two=power_of_two)
            for i, part in enumerate(parts)
        ),
        default=0.0,
    )


def longest_loop(allowed_mib: float, size: tuple[int, int], *, bytes_per_px: int, power_of_two: bool) -> int:
    """The most frames a repeating part may have; 0 where not even one picture fits."""
    return int(allowed_mib * MIB // texture_bytes(*size, bytes_per_px=bytes_per_px, power_of_two=power_of_two))


def finding(radio: Radio, parts: Sequence[PlayedPart], cropped: Cropped | None = None) -> Reason | None:
    """The refusal where the greediest part holds more than the radio allows, else None."""
    limits, size = radio.limits, radio.panel.size
    depth, rounded = limits.texture_bytes, limits.texture_power_of_two
    own = cropped or {}
    every = [
        held_mib(part, size, own.get(i, ()), bytes_per_px=depth, power_of_two=rounded) for i, part in enumerate(parts)
    ]
    place, held = max(enumerate(every), key=lambda item: item[1], default=(0, 0.0))
    if held <= limits.texture_mib:
        return None
    part = parts[place]
    if own.get(place):
        most = int(textures(part) * limits.texture_mib / held)  # frames of the part's mean size
    else:
        most = longest_loop(limits.texture_mib, size, bytes_per_px=depth, power_of_two=rounded)
    allowed = f"{_mib(held)} MiB, the radio allows {_mib(limits.texture_mib)} MiB"
    if most == 0:
        what = f"one picture of this panel holds {allowed}"
        return refuse("memory-exceeded", what, "mend the radio's profile: texture_mib is below one picture")
    once = " or play it once" if part.frames > 1 else ""
    mend = f"shorten it to {most} frame{'s' * (most > 1)}{once}"
    return refuse("memory-exceeded", f"part {place + 1}: this loop holds {allowed}", mend)


def _mib(figure: float) -> str:
    """Up to one decimal, so that 192.0 reads 192."""
    return f"{round(figure, 1):g}"
