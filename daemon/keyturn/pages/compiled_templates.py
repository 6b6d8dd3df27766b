"""Templates compiled once: Jinja2 compiles those of one job in 0.4 s, and reads back what was kept in some ms.

The bytecode lies in the user's own cache, under a key of all that it depends on, so a new version of Keyturn, Jinja2 or
Python, or a changed template, finds nothing of the old. What is torn is found by its digest (`shop.kept_results`).
Where nothing can be kept, templates are compiled as they are used.
"""

from __future__ import annotations

import hashlib
import os
import stat
from importlib.util import MAGIC_NUMBER
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket, BytecodeCache

from keyturn import __version__
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.units import MIB
from keyturn.shop.user_cache import user_cache

FOLDER = "pages"
"""The folder in the user's cache."""

MOST = 16 * MIB
"""Bytes of all bytecode together; that of all templates of one version is 0.4 MB."""

_OTHERS_MAY_WRITE = stat.S_IWGRP | stat.S_IWOTH


class CompiledTemplates(BytecodeCache):
    """The bytecode of templates in `folder`, which only this user can write: it is code, and it is run."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._kept = folder, KeptResults(folder, MOST)

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill the bucket with what was kept for its template, if there is any."""
        if _is_only_ours(self._folder) and (code := self._kept.read(_key(bucket))) is not None:
            bucket.bytecode_from_string(bytes(code))

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep the bucket's bytecode, where that is possible."""
        if not os.path.lexists(self._folder) or _is_only_ours(self._folder):
            self._kept.write(_key(bucket), bucket.bytecode_to_string())


def compiled_templates() -> CompiledTemplates | None:
    """Return the bytecode kept for this user; None for a user without a home."""
    cache = user_cache()
    return None if cache is None else CompiledTemplates(cache / FOLDER)


def _key(bucket: Bucket) -> bytes:
    """Return the digest of all that the bytecode depends on. The language is not among it: see `render`."""
    versions = f"{__version__}\0{jinja2.__version__}\0{MAGIC_NUMBER.hex()}"
    return hashlib.sha256(f"{versions}\0{bucket.key}\0{bucket.checksum}".encode()).digest()


def _is_only_ours(folder: Path) -> bool:
    """Tell whether `folder` is a folder of this user in which nobody else may write.

    `own_files.is_own_folder` trusts the owner of the folder around it as well: too much where code is run.
    """
    try:
        seen = folder.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(seen.st_mode) and seen.st_uid == os.geteuid() and not seen.st_mode & _OTHERS_MAY_WRITE
