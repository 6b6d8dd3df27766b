"""Which of the drop's files a name or pattern of the manifest means."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fnmatch import fnmatchcase
from pathlib import PurePosixPath

from keyturn.manifest.models import FILE_NAME
from keyturn.normalize.reading import kinds
from keyturn.shop.folding import composed, plain_spaces
from keyturn.shop.lookalikes import difference
from keyturn.shop.reasons import Reason, mended, refuse


def is_art(name: str) -> bool:
    """Whether the file's ending is that of a picture or film. Its contents decide later."""
    return PurePosixPath(name).suffix.lower() in kinds.ART_ENDINGS


def matching(pattern: str, files: Sequence[str]) -> tuple[tuple[str, ...], list[Reason]]:
    """Return the files that `pattern` matches, folder by folder.

    Letters with accents match however they are written. Where no file matches, those that differ in capitals or kinds
    of spaces alone are taken, with a reason.
    """
    if exact := tuple(name for name in files if _fits(name, pattern)):
        return exact, []
    folded = tuple(name for name in files if _fits(_folded(name), _folded(pattern)))
    if not folded:
        return (), []
    apart = difference(pattern, folded) or "only capitals or spaces differ"
    return folded, [mended("capitals-differ", f'"{pattern}" was read as {folded[0]}: {apart}')]


def one_file(wanted: str, files: Sequence[str], code: str, mend: str, field: str) -> tuple[str | None, list[Reason]]:
    """Return the one file that `wanted` names; None and a refusal with `code` where it names none or several."""
    names, reasons = ((wanted,), list[Reason]()) if wanted in files else matching(wanted, files)
    if len(names) == 1:
        return names[0], reasons
    what = f'"{wanted}" names {len(names)} files of the drop' if names else f'"{wanted}" is not in the drop'
    what += "" if names else what_looks_like(wanted, files)
    return None, [*reasons, refuse(code, what, mend, file=FILE_NAME, field=field)]


def what_looks_like(wanted: str, files: Sequence[str]) -> str:
    """Return in words how a file or folder that looks like what is `wanted` differs from it; empty where none does."""
    leaf = wanted.rpartition("/")[2]
    folders = dict.fromkeys(f"{name.rpartition('/')[0]}/{leaf}" for name in files if "/" in name)
    apart = difference(wanted, (*files, *folders))
    return f"; something that looks like it is: {apart}" if apart else ""


def of_folder(wanted: str, files: Sequence[str]) -> str | None:
    """Return the pattern of all pictures of the folder that `wanted` names, as in "lamps"; None where it names none.

    A name that one folder alone has but for capitals and kinds of spaces is that folder's.
    """
    steps = wanted.rstrip("/")
    folders = dict.fromkeys(name.rpartition("/")[0] for name in files if "/" in name)
    alike = [steps] if steps in folders else [folder for folder in folders if composed(folder) == composed(steps)]
    alike = alike or [folder for folder in folders if _folded(folder) == _folded(steps)]
    return f"{alike[0]}/*" if len(alike) == 1 else None


def where_pictures_lie(art: Collection[str]) -> str:
    """Return a remedy for a pattern that matches nothing: up to six patterns that do."""
    places = sorted({f"{name.rpartition('/')[0]}/*".lstrip("/") for name in art})
    return f"the pictures of this drop lie in: {', '.join(places[:6])}" if places else "add the pictures"


def _folded(name: str) -> str:
    return plain_spaces(composed(name)).lower()


def _fits(name: str, pattern: str) -> bool:
    steps, wanted = composed(name).split("/"), composed(pattern).split("/")
    return (len(steps) == len(wanted) and all(map(fnmatchcase, steps, wanted))) or name == pattern
