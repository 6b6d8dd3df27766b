"""One archive on one generation of player in one boot."""

from __future__ import annotations

from . import archive
from .loop import Loop
from .screen import Played
from .zip_bytes import NotOpened


def play(
    data: bytes,
    generation: int,
    *,
    boot_ms: float,
    decode_ms: float = 0.0,
    draw_ms: float = 0.0,
    npot: bool = True,
) -> Played:
    """Play the bytes of a bootanimation.zip.

    Virtual time is zero when work on the first frame starts. `boot_ms` is when the boot ends in that time,
    `decode_ms` what it takes to decode a picture, `draw_ms` what it takes to draw a frame, `npot` whether the
    radio's graphics take textures whose sides are no powers of two.
    """
    played = Played(generation, boot_ms)
    try:
        animation = archive.read(data, generation)
    except NotOpened:
        played.refused = True
        return played
    if animation is None or not animation.parts:
        return played
    if animation.size is None:
        played.random = True
        return played
    rate = animation.size[2]
    if rate <= 0:
        played.crashed = rate == 0  # a division by zero
        return played
    Loop(played, animation, rate, (decode_ms, draw_ms), npot).run()
    return played
