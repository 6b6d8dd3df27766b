"""The sentences that reasons on pages are made from, for the catalogues: `python tests/reason_sentences.py`.

It writes daemon/keyturn/pages/locale/reasons.txt, a sentence a line, as the catalogues write them: %(v1)s, %(v2)s and
so on for what varies, and %% for a percent sign. Most are the texts of tests/reason_texts.py. Some reasons hand on a
phrase that another function made, which that reader sees as varying: where such phrases are made is listed here.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator

from keyturn.manifest import typed_text, wording
from reason_texts import PACKAGE, VARIES, Module, Reader

LIST = PACKAGE / "pages" / "locale" / "reasons.txt"

ONLY_COMMANDS = ("keyturn.commands.", "keyturn.radio.inspect", "keyturn.radio.archive")
"""Reasons made there are printed by a command, in English, and stand on no page."""

RAISED = {"ValueError": "manifest/", "Broken": "normalize/reading/"}
"""Exceptions whose text goes into a reason, and where they are raised."""

PHRASES = {
    "manifest/toml_faults.py": ("_said_twice",),
    "manifest/lines_to_paste.py": ("at_the_top", "under_motion", "in_part"),
    "renumber/ready_made_desc.py": ("_repaired",),
    "manifest/wording.py": ("_brackets", "_instead_of", "_allowed_at"),
    "radio/memory.py": ("_mend",),
    "shop/file_names.py": ("_step_faults",),
    "shop/lookalikes.py": ("_told",),
}
"""Functions that make a reason's text, or a part of it, and what they are found in."""

COMPOSED = (
    "… (and … more like it)",
    "…, and so are … more (…)",
    "…, and so are … more (…); left out",
    "…; left out",
    "desc.txt, line …: …",
    "…, first in line …",
    "row …, …: …",
    "row …: …",
    "rows …: …",
    "… (given: …)",
    "…, or …",
    "make it shorter or thin it out",
    "make it shorter or thin it out, or take a stretch of it by start and stop, in seconds",
    "the loose pictures",
    "… general flashes",
    "… red flashes",
    "… general flashes and … red flashes",
    "the … of one is the … of the other",
    "the key …",
    "a film",
    "a zip",
    "a packed file (gzip)",
    "a drawing (SVG)",
    "a HEIC photograph",
    "numbered PNGs",
    "JPEG or PNG",
    "the top of the file",
    "lies in the drop and in its archive, and so do … more",
    "write …",
)
"""What a reason adds to a phrase that it was handed."""

LEAST_ALONE = 8
"""Texts with fewer fixed letters keep their units."""

LEAST_FIXED = 2
"""A text with fewer fixed letters says nothing by itself."""


def sentences() -> list[str]:
    """Return every sentence once, sorted, as the catalogues write them."""
    reader = Reader()
    found = {
        text for made in reader.all() if not made.where.startswith(ONLY_COMMANDS) for text in (*made.what, *made.mend)
    }
    found |= {text for module in reader.modules.values() for text in _handed_on(module)}
    found |= {*_of_values(), *_of_kinds(), *COMPOSED}
    found -= {text for text in found if text[:1] in (" ", ",", "")}  # the end of another text
    found = {text.split("\n")[0] for text in found}
    found = {text.replace("write in job.toml:", VARIES) for text in found}  # where, is a sentence of lines_to_paste
    return sorted(_with_names(text) for text in _without_doubles(found) if _fixed(text) >= LEAST_FIXED)


def _fixed(text: str) -> int:
    return len(re.sub(r"\W", "", text))


def _without_doubles(texts: set[str]) -> set[str]:
    """Return the texts, those that differ only in the unit of a size as one."""
    groups: dict[str, list[str]] = {}
    for text in texts:
        groups.setdefault(re.sub(f"{VARIES} [KM]iB", VARIES, text), []).append(text)
    says_enough = {general for general, group in groups.items() if len(group) > 1 and _fixed(general) > LEAST_ALONE}
    return says_enough | {text for general, group in groups.items() if general not in says_enough for text in group}


def _with_names(text: str) -> str:
    pieces = text.replace("%", "%%").split(VARIES)
    return pieces[0] + "".join(f"%(v{number})s{piece}" for number, piece in enumerate(pieces[1:], 1))


def _handed_on(module: Module) -> Iterator[str]:
    """Return the texts of exceptions and functions that reasons pass on."""
    path = module.path.relative_to(PACKAGE).as_posix()
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute) and node.args:
            name = node.func.id if isinstance(node.func, ast.Name) else node.func.attr
            if path.startswith(RAISED.get(name, "-")):
                yield from _literals(node.args[0])
        if isinstance(node, ast.FunctionDef) and node.name in PHRASES.get(path, ()):
            for statement in node.body:
                if not (isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)):  # a docstring
                    yield from (text for text in _literals(statement) if " " in text.strip())


def _literals(node: ast.AST) -> Iterator[str]:
    match node:
        case ast.Constant(value=str() as text):
            yield text
        case ast.JoinedStr():
            yield "".join(str(v.value) if isinstance(v, ast.Constant) else VARIES for v in node.values)
        case ast.Compare():
            return
        case _:
            for child in ast.iter_child_nodes(node):
                yield from _literals(child)


def _of_values() -> Iterator[str]:
    """Return what is said of wrong values of job.toml: what pydantic found, and what a key is for."""
    yield from (re.sub(r"\{.*?\}", VARIES, text) for text in wording._WRONG.values())
    yield from (
        text for text in vars(typed_text).values() if isinstance(text, str) and re.search(r"w[ae]re? read", text)
    )
    for _, table in wording.TABLES.values():
        yield from (wording.purpose(field.description) for field in table.model_fields.values() if field.description)


def _of_kinds() -> Iterator[str]:
    """Return what kinds of files are called and their ways out; names of formats vary: "a … file"."""
    kinds = tomllib.loads((PACKAGE / "rules" / "kinds.toml").read_text(encoding="utf-8"))["kind"]
    for kind in kinds.values():
        yield re.sub(
            r"(?<=^a )[A-Z0-9]\S*( [A-Z0-9]\S*)*(?= [a-z]+$)|(?<=^an )[A-Z]\S*( [A-Z]\S*)*(?= [a-z]+$)",
            VARIES,
            kind["what"],
        )
        yield kind["way_out"]


if __name__ == "__main__":
    LIST.write_text("".join(f"{each}\n" for each in sentences()), encoding="utf-8")
    sys.stdout.write(f"{LIST}\n")
