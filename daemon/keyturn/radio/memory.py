"""What an animation costs the radio's graphics memory while it plays.

Source: Android Open Source Project, frameworks/base, cmds/bootanimation. A part with count 1 reuses one texture. A
part that repeats keeps every frame as a texture until it ends. The first-generation player rounds each side of a
texture up to a power of two. A cropped frame's texture has the size of its file. Driver overhead is left out: it is
not published.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from keyturn.radio.timeline import PlayedPart
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, refuse
from keyturn.shop.units import MIB

Size = tuple[int, int]
Cropped = Mapping[int, Sequence[Size]]
"""The sizes of the frames of each part, counted from 0, whose frames are cropped. All others have the panel's size."""


def texture_bytes(width: int, height: int, *, bytes_per_px: int, power_of_two: bool) -> int:
    """Return the bytes of one frame's texture; `width` and `height` are pixels, at least 1 each."""
    if power_of_two:
        width, height = _power_of_two(width), _power_of_two(height)
    return width * height * bytes_per_px


def _power_of_two(side: int) -> int:
    """Return the least power of two that is not below `side`."""
    return 1 << (side - 1).bit_length()


def textures(part: PlayedPart) -> int:
    """Return how many frames of the part are kept at once."""
    return 1 if part.count == 1 else part.frames


def loop_mib(frames: int, size: tuple[int, int], *, bytes_per_px: int, power_of_two: bool) -> float:
    """Return the MiB that a repeating part of `frames` frames holds."""
    return frames * texture_bytes(*size, bytes_per_px=bytes_per_px, power_of_two=power_of_two) / MIB


def held_mib(part: PlayedPart, size: Size, cropped: Sequence[Size], *, bytes_per_px: int, power_of_two: bool) -> float:
    """Return the MiB that a part holds. Its frames have `size`, or where they are `cropped`, the sizes given there."""
    if not cropped:
        return loop_mib(textures(part), size, bytes_per_px=bytes_per_px, power_of_two=power_of_two)
    each = [texture_bytes(*own, bytes_per_px=bytes_per_px, power_of_two=power_of_two) for own in cropped]
    return (max(each) if part.count == 1 else sum(each)) / MIB


def peak_mib(
    parts: Sequence[PlayedPart], size: Size, *, bytes_per_px: int, power_of_two: bool, cropped: Cropped | None = None
) -> float:
    """Return the most MiB held at any time, by the part that needs most: a part's textures are freed when it ends."""
    each = held_by_part(parts, size, cropped or {}, bytes_per_px=bytes_per_px, power_of_two=power_of_two)
    return max(each, default=0.0)


def held_by_part(
    parts: Sequence[PlayedPart], size: Size, cropped: Cropped, *, bytes_per_px: int, power_of_two: bool
) -> list[float]:
    """Return the MiB that each part holds while it plays."""
    return [
        held_mib(part, size, cropped.get(i, ()), bytes_per_px=bytes_per_px, power_of_two=power_of_two)
        for i, part in enumerate(parts)
    ]


def longest_loop(allowed_mib: float, size: tuple[int, int], *, bytes_per_px: int, power_of_two: bool) -> int:
    """Return the most frames a repeating part may have; 0 where not even one picture fits."""
    return int(allowed_mib * MIB // texture_bytes(*size, bytes_per_px=bytes_per_px, power_of_two=power_of_two))


def finding(radio: Radio, parts: Sequence[PlayedPart], cropped: Cropped | None = None) -> Reason | None:
    """Return the refusal where the part that needs most holds more than the radio allows, else None."""
    limits, size = radio.limits, radio.panel.size
    depth, rounded = limits.texture_bytes, limits.texture_power_of_two
    own = cropped or {}
    every = held_by_part(parts, size, own, bytes_per_px=depth, power_of_two=rounded)
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
    """Format with up to one decimal, so that 192.0 reads 192."""
    return f"{round(figure, 1):g}"
