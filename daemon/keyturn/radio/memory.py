"""What an animation costs the radio's graphics memory while it plays.

Source: Android Open Source Project, frameworks/base, cmds/bootanimation, versions 4.0, 4.4, 10 and 14; which player
does what is in rules/players.toml. Each picture becomes a texture. A part that plays once reuses one texture (until
11), or keeps one for each frame (14). A part that repeats keeps every frame, until it ends (until 5.1) or until the
whole animation ends. The one texture of the parts that play once stays, with the last picture that it was given. A
cropped frame's texture has the size of its file. Driver overhead is left out: it is not published.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from keyturn.radio.pacing import PlayedPart
from keyturn.shop.player_facts import PlayerFacts
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, refuse
from keyturn.shop.units import MIB

Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Texture:
    """A picture as it lies in graphics memory: its size in pixels, and whether it has no transparency."""

    width: int
    height: int
    opaque: bool = True


Frames = Mapping[int, Sequence[Texture]]
"""The frames of each part, counted from 0, that differ from an opaque picture of the panel's size."""


def texture_bytes(texture: Texture, facts: PlayerFacts) -> int:
    """Return the bytes of one texture on a player."""
    width, height = texture.width, texture.height
    if facts.texture_power_of_two:
        width, height = _power_of_two(width), _power_of_two(height)
    return width * height * (facts.texture_bytes_opaque if texture.opaque else facts.texture_bytes)


def _power_of_two(side: int) -> int:
    """Return the least power of two that is not below `side`, which is at least 1."""
    return 1 << (side - 1).bit_length()


@dataclass(frozen=True, slots=True)
class Held:
    """Graphics memory in bytes: the most that is held at any time, and what each part adds itself."""

    peak: int
    by_part: tuple[int, ...]


def held(parts: Sequence[PlayedPart], size: Size, facts: PlayerFacts, frames: Frames | None = None) -> Held:
    """Return what the parts hold on a player while they play in order. Frames have the panel's `size` unless given."""
    own = frames or {}
    peak = kept = reused = 0
    by_part = []
    for number, part in enumerate(parts):
        given = own.get(number)
        each = [texture_bytes(t, facts) for t in (given or [Texture(*size)] * part.frames)]
        once = part.count == 1 and facts.once_only_textures == "one"
        adds = max(each, default=0) if once else sum(each)
        by_part.append(adds)
        after_boot = any(earlier.count == 0 for earlier in parts[:number])
        if after_boot and part.type != "c":
            each = each[: _faded(parts, number, facts)]
            adds = sum(each)
        if after_boot and not each:
            continue
        peak = max(peak, kept + adds + (0 if once else reused))
        if once:
            reused = each[-1] if each else reused
        elif part.count == 1 or facts.textures_freed == "animation":
            kept += adds
    return Held(peak, tuple(by_part))


def _faded(parts: Sequence[PlayedPart], number: int, facts: PlayerFacts) -> int:
    """Return how many frames of a part after an endless one are shown: those in which the first f row there fades."""
    fading = [i for i, part in enumerate(parts) if facts.fade and part.type == "f" and part.fade and part.frames]
    endless = next(i for i, part in enumerate(parts) if part.count == 0)
    first = next((i for i in fading if i >= endless), None)
    return parts[number].fade if number == first else 0


def peak_mib(parts: Sequence[PlayedPart], size: Size, radio: Radio, frames: Frames | None = None) -> float:
    """Return the most MiB held at any time, on the player that needs most among those that the radio may have."""
    return max(held(parts, size, facts, frames).peak for facts in radio.player.candidates) / MIB


def finding(radio: Radio, parts: Sequence[PlayedPart], frames: Frames | None = None) -> Reason | None:
    """Return the refusal where the animation holds more memory than the radio allows, else None.

    Where the radio's generation is a guess, the player that needs most decides.
    """
    size, allowed_mib = radio.panel.size, radio.limits.texture_mib
    every = [(held(parts, size, facts, frames), facts) for facts in radio.player.candidates]
    most, facts = max(every, key=lambda item: item[0].peak)
    if most.peak <= allowed_mib * MIB:
        return None
    allowed = f"{_mib(most.peak)} MiB, the radio allows {allowed_mib:g} MiB"
    one = texture_bytes(Texture(*size), facts)
    if one > allowed_mib * MIB:
        mend = "mend the radio's profile: texture_mib is below one picture"
        return refuse("memory-exceeded", f"one picture of this panel holds {allowed}", mend)
    place = max(range(len(parts)), key=lambda i: most.by_part[i])
    others = most.peak - most.by_part[place]
    each = most.by_part[place] / max(1, parts[place].frames)
    fitting = max(0, int((allowed_mib * MIB - others) // each)) if each else 0
    return refuse("memory-exceeded", _what(parts, place, allowed, others), _mend(parts[place], fitting, radio, facts))


def _what(parts: Sequence[PlayedPart], place: int, allowed: str, others: int) -> str:
    if not others:
        kind = "loop" if parts[place].count != 1 else "part"
        return f"part {place + 1}: this {kind} holds {allowed}"
    return f"the parts together hold {allowed}; part {place + 1} holds most"


def _mend(part: PlayedPart, fitting: int, radio: Radio, facts: PlayerFacts) -> str:
    """Say what helps. JPEG never does: a picture is unpacked before it becomes a texture.

    `facts` are those of the player that needs most. Playing once helps only if it does so on each that the radio may
    have.
    """
    shorter = f"shorten it to {fitting} frames" if fitting > 1 else "shorten it to 1 frame"
    help_ = [shorter if fitting else "shorten the parts"]
    if part.frames > 1 and all(each.once_only_textures == "one" for each in radio.player.candidates):
        if part.count > 1:
            help_.append(f"write it as {part.count} parts that play once")
        elif part.count == 0:
            help_.append("play it once")
    if facts.trim:
        help_.append("let less of the picture move: still edges are cropped away")
    return ", or ".join(help_) + " (smaller files or JPEG do not help)"


def _mib(figure: float) -> str:
    """Format with up to one decimal, so that 192.0 reads 192."""
    return f"{round(figure / MIB, 1):g}"
