"""The shop of the installed service: `--root` in ExecStart= of keyturn.service, read as systemd reads it.

The files are read, not systemd asked: the unit counts on a machine whose systemd is not at work, as in a container.
Source: systemd.unit(5) for places, drop-ins and comments, systemd.syntax(7) for lines and quotes, systemd.service(5)
for command lines.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Iterator
from contextlib import suppress
from itertools import chain
from pathlib import Path

UNIT = "keyturn.service"
UNIT_FOLDERS = tuple(
    Path(folder)
    for folder in (
        "/etc/systemd/system.control",
        "/run/systemd/system.control",
        "/run/systemd/transient",
        "/run/systemd/generator.early",
        "/etc/systemd/system",
        "/etc/systemd/system.attached",
        "/run/systemd/system",
        "/run/systemd/system.attached",
        "/run/systemd/generator",
        "/usr/local/lib/systemd/system",
        "/usr/lib/systemd/system",
        "/lib/systemd/system",
        "/run/systemd/generator.late",
    )
)
"""Where systemd looks for units; the first folder that has the file counts."""

_SECTION = re.compile(r"\[(.+)\]")
_MARKS = "@-:+!|"
"""What may stand before the program in ExecStart=."""

_WORD = re.compile(r"""(?:"(?:\\.|[^"\\])*"|'(?:\\.|[^'\\])*'|\\.|[^\s"'\\])+""")
_PIECE = re.compile(r"""(["'])((?:\\.|(?!\1).)*)\1|((?:\\.|[^"'\\])+)""")
_UNKNOWN = re.compile(r"(?<!%)(?:%%)*%(?!%)|(?<!\$)(?:\$\$)*\$(?!\$)")
"""A specifier of systemd's or a variable: what stands for it is not known here."""


def unit_root(folders: Iterable[Path]) -> Path | None:
    """Return the folder that the service's unit names as its shop; None without a unit that names one.

    `folders` are those where units lie, the weightiest first.
    """
    places = list(folders)
    unit = next((path for folder in places if _is_there(path := folder / UNIT)), None)
    if unit is None or _is_masked(unit):
        return None
    commands: list[str] = []
    for section, key, value in chain.from_iterable(map(_assignments, (unit, *_drop_ins(places)))):
        if (section, key) == ("Service", "ExecStart"):
            commands = [*commands, value] if value else []  # an empty one takes back those before it
    roots = [root for command in commands if (root := _root_in(_words(command))) is not None]
    return roots[-1] if roots else None


def _is_there(path: Path) -> bool:
    with suppress(OSError):
        return path.is_symlink() or path.is_file()
    return False


def _is_masked(path: Path) -> bool:
    """An empty file, or a link to /dev/null, says that there is no such unit or drop-in."""
    with suppress(OSError):
        return path.resolve() == Path("/dev/null") or path.stat().st_size == 0
    return True


def _drop_ins(folders: Iterable[Path]) -> list[Path]:
    """Return the drop-ins in the order of their names; of one name the weightiest counts, be it masked."""
    found: dict[str, Path] = {}
    of_the_unit, of_all_services = f"{UNIT}.d", "service.d"
    places = list(folders)
    for place in (folder / name for name in (of_the_unit, of_all_services) for folder in places):
        with suppress(OSError):
            for path in place.glob("*.conf"):
                found.setdefault(path.name, path)
    return [path for _, path in sorted(found.items()) if not _is_masked(path)]


def _assignments(path: Path) -> Iterator[tuple[str, str, str]]:
    """Yield section, key and value of each assignment in the file; nothing where it cannot be read."""
    section = ""
    for line in _lines(path):
        if (title := _SECTION.fullmatch(line)) is not None:
            section = title[1]
        elif "=" in line:
            key, _, value = line.partition("=")
            yield section, key.strip(), value.strip()


def _lines(path: Path) -> Iterator[str]:
    """Yield the file's lines without comments and blank ones. A backslash at a line's end joins the next one to it."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return
    begun = ""
    for raw in text.splitlines():
        line = raw.strip()
        if line.startswith(("#", ";")):
            continue
        if line.endswith("\\"):
            begun += f"{line[:-1]} "
        elif line or begun:
            yield (begun + line).strip()
            begun = ""
    if begun:
        yield begun.strip()


def _words(command: str) -> list[str]:
    return [_unquoted(word[0]) for word in _WORD.finditer(command.lstrip(_MARKS))]


def _unquoted(word: str) -> str:
    """Return the word without its quotes, with the characters that its backslashes stand for."""
    return "".join(_unescaped(piece[2] if piece[1] else piece[3]) for piece in _PIECE.finditer(word))


def _unescaped(text: str) -> str:
    def character(match: re.Match[str]) -> str:
        if match[0] == r"\s":
            return " "
        with suppress(UnicodeDecodeError):
            return codecs.decode(match[0], "unicode_escape")
        return match[0]

    return re.sub(r"\\(?:x[0-9a-fA-F]{2}|u[0-9a-fA-F]{4}|[0-7]{3}|.)", character, text)


def _root_in(words: list[str]) -> Path | None:
    """Return what follows --root, or comes after --root= in one word; None where that is not known."""
    found = ""
    for word, after in zip(words, [*words[1:], ""], strict=True):
        if word == "--root":
            found = after
        elif word.startswith("--root="):
            found = word.removeprefix("--root=")
    if not found.startswith("/") or _UNKNOWN.search(found):
        return None
    return Path(found.replace("%%", "%").replace("$$", "$"))
