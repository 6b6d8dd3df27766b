"""The reference player's reading of desc.txt, line by line, with C's sscanf rules and no others.

The player cuts the text at each newline and tries two formats on every line: "%d %d %d", and where that
fails "%c %d %d %255s" with an optional " #%6s" after it. Source: Android Open Source Project,
frameworks/base, cmds/bootanimation (from memory); conversions after ISO C 7.21.6.2.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from keyturn.shop.player_facts import PlayerFacts

PATH_MAX = 255

# Quantifiers are possessive because sscanf never gives a character back. In bytes patterns \s and \d are C's isspace
# and isdigit.
_INT = rb"\s*+([+-]?+\d++)"
_SIZE = re.compile(_INT * 3)
_LATER = re.compile(rb"dynamic_colors\b|\$SYSTEM\s*$|#|//")
"""Lines that stock archives of newer radios hold beside sizes and rows, and comments."""

_ROW = re.compile(rb"\s*+(.)" + _INT * 2 + rb"\s*+(\S{1,%d}+)" % PATH_MAX, re.DOTALL)
_FADE = re.compile(_INT)
_COLOUR = re.compile(rb"\s*+#(\S{1,6}+)")
_HEX = re.compile(rb"[0-9a-fA-F]{6}")
_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class Fault:
    """A trap in desc.txt. `line` counts from 1; None is the file as a whole."""

    code: str
    line: int | None
    what: str
    mend: str


@dataclass(frozen=True, slots=True)
class RawRow:
    """A part row as scanned; `type` is any one character. `fade` is the fade number of an `f` row."""

    type: str
    count: int
    pause: int
    path: str
    colour: str | None
    fade: int = 0


@dataclass(frozen=True, slots=True)
class DescLine:
    """One terminated line: a size, a row, or neither."""

    number: int
    blank: bool
    size: tuple[int, int, int] | None
    row: RawRow | None
    faults: tuple[Fault, ...]


def lines(data: bytes, facts: PlayerFacts | None = None) -> list[DescLine]:
    """Return the lines the player sees: up to the last newline before any NUL byte.

    Without the `facts` of a player every row is read that some player reads.
    """
    terminated = data.split(b"\0", 1)[0].split(b"\n")[:-1]
    return [_line(number, text, facts) for number, text in enumerate(terminated, 1)]


def file_faults(data: bytes) -> list[Fault]:
    """Return the traps of the file as bytes: marks, line endings, a last line without its newline."""
    faults = []
    seen, nul, _ = data.partition(b"\0")
    if data.startswith(_MARKS):
        what = "it begins with a byte-order mark: line 1 cannot be read, so size and rate are left to chance"
        faults.append(Fault("byte-order-mark", 1, what, "save it as plain ASCII, without a mark"))
    if nul:
        what = "it holds zero bytes: reading stops at the first (a file saved as UTF-16 looks like this)"
        faults.append(Fault("zero-bytes", seen.count(b"\n") + 1, what, "save it as plain ASCII"))
    if b"\r" in data:
        what = "its lines end with a carriage return; some radios take that into the path"
        faults.append(Fault("line-endings", None, what, "save it with LF line endings"))
    last = seen.rsplit(b"\n", 1)[-1]
    if last.strip():
        what = f"the last line, {_shown(last)}, has no newline at its end and is dropped"
        faults.append(Fault("row-unterminated", seen.count(b"\n") + 1, what, "end the last line with a newline"))
    return faults


def _line(number: int, text: bytes, facts: PlayerFacts | None) -> DescLine:
    if size := _SIZE.match(text):
        width, height, fps = (_int(digits) for digits in size.groups())
        return DescLine(number, False, (width, height, fps), None, _size_rest(number, text[size.end() :]))
    if row := _ROW.match(text):
        return _row(number, row, facts)
    blank = not text.strip()
    if _LATER.match(text):
        what = f"is skipped by players that do not know it: {_shown(text)}"
        return DescLine(
            number,
            False,
            None,
            None,
            (Fault("line-skipped", number, what, "nothing to mend; take it out if in doubt"),),
        )
    what = f"cannot be read and is skipped: {_shown(text)}"
    mend = "write TYPE COUNT PAUSE PATH, for example p 1 0 part0"
    return DescLine(number, blank, None, None, () if blank else (Fault("row-not-understood", number, what, mend),))


def _row(number: int, match: re.Match[bytes], facts: PlayerFacts | None) -> DescLine:
    kind, count, pause, path = match.groups()
    if facts and (dropped := _dropped(number, match, facts)):
        return DescLine(number, False, None, None, (dropped,))
    rest = match.string[match.end() :]
    fade, rest = _fade(kind, rest, facts)
    colour, faults = _colour(number, rest, facts, late=bool(facts and facts.fade and kind == b"f" and not fade))
    if len(path) == PATH_MAX and rest[:1].strip():
        what = f"the path is longer than {PATH_MAX} characters and is cut there"
        faults = [Fault("path-too-long", number, what, "shorten the folder's name")]
    faults += _type_faults(number, kind, facts) + _path_faults(number, path)
    row = RawRow(_text(kind), _int(count), _int(pause), _text(path), colour, max(0, fade or 0))
    return DescLine(number, False, None, row, tuple(faults))


def _dropped(number: int, match: re.Match[bytes], facts: PlayerFacts) -> Fault | None:
    """Return why the player drops the row as a whole, None where it does not."""
    kind = match[1]
    if facts.leading_blank == "dropped" and match.string[:1].isspace():
        what = "begins with a blank: the row is dropped"
        return Fault("row-leading-blank", number, what, "let the line begin with its type")
    if facts.unknown_types == "dropped" and _text(kind) not in facts.part_types:
        what = f"type {_text(kind)!r} is not known: the row is dropped"
        return Fault("type-dropped", number, what, "write p")
    return None


def _fade(kind: bytes, rest: bytes, facts: PlayerFacts | None) -> tuple[int | None, bytes]:
    """Return the fade number of an `f` row, None where it has none, and what follows it."""
    reads = facts is None or facts.fade
    if kind != b"f" or not reads or not (fade := _FADE.match(rest)):
        return None, rest
    return _int(fade[1]), rest[fade.end() :]


def _colour(number: int, rest: bytes, facts: PlayerFacts | None, *, late: bool) -> tuple[str | None, list[Fault]]:
    """Return the row's colour, and what is wrong with it. `late`: this player reads it after a fade number only."""
    found = _COLOUR.match(rest)
    if found and late:
        what = "the colour of an f row is read after its fade number only: the surround is black"
        return None, [Fault("colour-odd", number, what, "write a number of frames before the colour, or type p")]
    if found and facts and not facts.row_colour:
        return None, [Fault("colour-not-known", number, "the row's colour is not read: the surround is black", "")]
    if found and _HEX.fullmatch(found[1]):
        return "#" + found[1].decode("ascii"), []
    if found:
        what = f"#{_text(found[1])} is no colour: the surround is black"
        return None, [Fault("colour-odd", number, what, "write six hexadecimal digits after #")]
    if rest.strip():
        what = f"what follows the path is not read: {_shown(rest.strip())}"
        return None, [Fault("row-rest", number, what, "write the path without spaces, and # before a colour")]
    return None, []


def _size_rest(number: int, rest: bytes) -> tuple[Fault, ...]:
    if not rest.strip():
        return ()
    what = f"what follows the three whole numbers is not read: {_shown(rest.strip())}"
    return (Fault("size-rest", number, what, "give a line to itself to WIDTH HEIGHT FPS, in whole numbers"),)


def _type_faults(number: int, kind: bytes, facts: PlayerFacts | None) -> list[Fault]:
    known = facts.part_types if facts else ("p", "c", "f")
    if _text(kind) in known:
        return []
    what = f"type {_text(kind)!r} is not known and plays like p"
    return [Fault("type-unknown", number, what, "write p")]


def _path_faults(number: int, path: bytes) -> list[Fault]:
    """Return what keeps the path from equalling an entry's folder; the player compares them byte for byte."""
    faults = []
    text = _text(path)
    if any(step in (b"", b".", b"..") for step in path.split(b"/")) or b"\\" in path:
        what = f"{text} can never be the folder of an entry: the part stays empty"
        faults.append(Fault("path-never-found", number, what, "write the folder's plain name, such as part0"))
    if not path.isascii() or any(byte < 0x20 or byte == 0x7F for byte in path):
        what = f"{text} is not plain ASCII: radios may not find the folder"
        faults.append(Fault("path-not-ascii", number, what, "name the folder in plain letters and digits"))
    return faults


def _int(digits: bytes) -> int:
    """Convert as C's usual library does: strtol clamps to 64 bits, and the conversion to int keeps the low 32."""
    sign = -1 if digits[:1] == b"-" else 1
    figures = digits.lstrip(b"+-").lstrip(b"0")[:20] or b"0"  # twenty figures are already beyond 64 bits
    clamped = max(-(2**63), min(2**63 - 1, sign * int(figures)))
    return (clamped + 2**31) % 2**32 - 2**31


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "backslashreplace")


def _shown(raw: bytes) -> str:
    text = raw.strip().decode("ascii", "backslashreplace")
    return f'"{text[:60]}..."' if len(text) > 60 else f'"{text}"'
