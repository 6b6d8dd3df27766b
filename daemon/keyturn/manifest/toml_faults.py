"""Say where a manifest is no TOML: the line, the place in it, and the line as it should be."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

from keyturn.manifest.wording import KEYS, SEVERAL, TABLES
from keyturn.shop.folding import folded
from keyturn.shop.reasons import Reason, refuse

AS_SHOWN = 'write each line as radio = "tall-768x1024", words in plain quotes'
_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)")
_WIDEST = 80
"""So many letters of a line are shown."""

_SETTING = re.compile(r"""\s*["']?([\w\-]+(?:[ \t]+[\w\-]+)*)["']?\s*[=:]+\s*(.*)""")
_LOOSE_SETTING = re.compile(r"\s*([\w\-]+)\s+(.*)")
_HEADER = re.compile(r"\s*\[+\s*([\w.\- ]+?)\s*\]*\s*")


def fault(text: str, error: tomllib.TOMLDecodeError, file: str) -> tuple[Reason, str | None]:
    """Return the reason for what tomllib said of `text`, and the text as it should be where that is plain."""
    lines = text.split("\n")
    found = _PLACE.search(str(error))
    number, column = (int(found[1]), int(found[2])) if found else (len(lines), 1)
    number = min(number, len(lines))
    while number > 1 and not lines[number - 1].strip():  # it noticed at the end what is open further up
        number -= 1
        column = len(lines[number - 1]) + 1
    if _is_toml(lines[number - 1]) and not re.search("twice|Cannot", str(error)):
        above = next((n for n in range(number - 1, 0, -1) if lines[n - 1].strip() and not _is_toml(lines[n - 1])), 0)
        number, column = (above, len(lines[above - 1]) + 1) if above else (number, column)
    line = lines[number - 1]
    twice = _said_twice(line, number, lines[: number - 1], str(error), column)
    if twice:
        what, mend = twice
        return refuse("manifest-unreadable", what, mend, file=file), None
    made = _as_it_should_be(line)
    what = f"line {number} cannot be read{_place(line, column)}"
    reason = refuse("manifest-unreadable", what, f"write {made}" if made else AS_SHOWN, file=file)
    if made is None or "..." in made:
        return reason, None
    return reason, "\n".join([*lines[: number - 1], made, *lines[number:]])


def _place(line: str, column: int) -> str:
    """Quote the line and say where in it reading ended."""
    before = line[: column - 1].strip()
    shown = _shown(line, max(0, column - 1))
    return f" after {before[-_WIDEST // 2 :]}, in: {shown}" if before and before != line.strip() else f": {shown}"


def _shown(line: str, column: int = 0) -> str:
    start = max(0, column - _WIDEST // 2)
    return (
        ("..." if start else "")
        + line[start : start + _WIDEST].strip()
        + ("..." if len(line) > start + _WIDEST else "")
    )


def _said_twice(line: str, number: int, above: list[str], error: str, column: int) -> tuple[str, str] | None:
    """Return what to say of a key or table that is there twice, None where that is not the fault."""
    header = _HEADER.fullmatch(line.partition("#")[0])
    if header and ("twice" in error or "Cannot" in error):
        name = header[1]
        if name.rpartition(".")[2] in SEVERAL:
            return f"line {number} has {_shown(line)} again", f"write [[{name}]], with two brackets, for each of them"
        return f"line {number} has {_shown(line)} again", f"put all that belongs to {name} under one [{name}]"
    if "Cannot overwrite" not in error:
        return None
    key = line.partition("=")[0].strip()
    first = next((n for n, other in enumerate(above, 1) if other.partition("=")[0].strip() == key), None)
    if first:
        return f"line {number} sets {key[:40]} again, as in line {first}: {_shown(line)}", "keep one of the two"
    return f"line {number} sets {key[:40]} again: {_shown(line)}", "keep one of the two"


def _as_it_should_be(line: str) -> str | None:
    """Return what to write in place of `line`, None where it is not clear what it should be."""
    if len(line) > 2 * _WIDEST:
        return None
    return next((made for made in _tries(line) if made != line.strip() and _is_toml(made)), None)


def _tries(line: str) -> Iterator[str]:
    if header := _HEADER.fullmatch(line):
        steps = [name if (name := folded(step)) in TABLES else step.strip() for step in header[1].split(".")]
        name = ".".join(steps)
        yield f"[[{name}]]" if name.rpartition(".")[2] in SEVERAL else f"[{name}]"
        return
    loose = _LOOSE_SETTING.fullmatch(line)
    setting = _SETTING.fullmatch(line) or (loose if loose and folded(loose[1]) in KEYS else None)
    if setting is None:
        return
    key, value = re.sub(r"\s+", "_", setting[1]), setting[2].strip()
    if value:
        yield f"{key} = {value.rstrip(' ;,')}"
    if value.startswith("["):
        words = [word.strip(" \"'") for word in value.strip("[], ;").split(",")]
        yield f"{key} = [{value.strip('[], ;')}]"
        yield f"{key} = [{', '.join(_quoted(word) for word in words)}]"
    bare, comment, said = value.partition(" #") if value else ("...", "", "")
    yield f"{key} = {_quoted(bare)}" + (f"  #{said}" if comment else "")


def _quoted(text: str) -> str:
    plain = text.strip(" \t;,").strip("\"'“”„‟«»‘’‚‛`´").replace("\\", "/").replace('"', "'")
    return f'"{plain}"'


def _is_toml(line: str) -> bool:
    try:
        return bool(tomllib.loads(line))
    except ValueError:
        return False
