"""A program that serves a shop where no mode with a set-uid or set-gid bit may be set, as in the unit.

    python set_id_refused.py (serve | send-back) ROOT [free]

The system calls refused are those that systemd.exec(5) names under RestrictSUIDSGID=, by libseccomp, with which
systemd refuses them too. `free`: none is refused. It ends with code 77 where the machine has no libseccomp.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import errno
import os
import stat
import sys
import tempfile
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from keyturn.inbox.moving import Changed
from keyturn.inbox.survey import snapshot
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.file_modes import group_reads
from keyturn.shop.folders import Shop
from shop_runs import run_until_quiet

SKIPPED = 77
MODE_AT = {b"chmod": 1, b"fchmod": 1, b"fchmodat": 2, b"mkdir": 1, b"mkdirat": 2, b"mknod": 1, b"mknodat": 2}
OPEN_AT = {b"open": (1, 2), b"openat": (2, 3)}
"""Which argument of a call has the mode; of the second kind, the flags and the mode."""

_ALLOW, _REFUSE = 0x7FFF0000, 0x00050000 | errno.EPERM  # seccomp.h of libseccomp: SCMP_ACT_ALLOW, SCMP_ACT_ERRNO
_MASKED_EQUAL = 7  # SCMP_CMP_MASKED_EQ


class _Compared(ctypes.Structure):
    """struct scmp_arg_cmp: argument `arg`, under the mask, is `value`."""

    _fields_ = (("arg", ctypes.c_uint), ("op", ctypes.c_int), ("mask", ctypes.c_uint64), ("value", ctypes.c_uint64))


def refuse_set_id() -> None:
    """From now on a mode with a set-uid or set-gid bit fails with EPERM in this process and those it starts."""
    name = ctypes.util.find_library("seccomp")
    if name is None:
        sys.exit(SKIPPED)
    library = ctypes.CDLL(name)
    library.seccomp_init.restype = ctypes.c_void_p
    library.seccomp_load.argtypes = [ctypes.c_void_p]
    rules = ctypes.c_void_p(library.seccomp_init(ctypes.c_uint32(_ALLOW)))
    for bit in (stat.S_ISUID, stat.S_ISGID):
        for call, at in MODE_AT.items():
            _add(library, rules, call, (at, bit))
        for call, (flags_at, at) in OPEN_AT.items():
            _add(library, rules, call, (flags_at, os.O_CREAT), (at, bit))
    assert library.seccomp_load(rules) == 0


def _add(library: ctypes.CDLL, rules: ctypes.c_void_p, call: bytes, *bits: tuple[int, int]) -> None:
    number = library.seccomp_syscall_resolve_name(call)
    compared = (_Compared * len(bits))(*(_Compared(at, _MASKED_EQUAL, bit, bit) for at, bit in bits))
    added = library.seccomp_rule_add_array(rules, ctypes.c_uint32(_REFUSE), number, len(bits), compared)
    assert added == 0 or number < 0, call  # a negative number: this machine has no such call


def assert_refused() -> None:
    """The filter does what it should: a set-gid bit comes from the folder around and from nowhere else."""
    with tempfile.TemporaryDirectory() as folder:
        for mode in (0o2755, 0o4755):
            try:
                os.chmod(folder, mode)  # noqa: PTH101
            except PermissionError:
                continue
            raise AssertionError(f"{mode:o} was set")


def send_back(shop: Shop) -> None:
    """Take each drop of the inbox to work and back as between mounts (rename(2), EXDEV). The copy has other inodes than
    the drop that was found, and so counts as changed."""
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if self.is_relative_to(shop.work) != Path(target).is_relative_to(shop.work):
            raise OSError(errno.EXDEV, os.strerror(errno.EXDEV), str(self))
        return real(self, target)

    Path.rename = rename  # type: ignore[assignment, method-assign]
    folders = DropFolders(shop, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
    with group_reads():
        for drop in list(shop.inbox.iterdir()):
            with suppress(Changed):
                raise AssertionError(folders.claim(drop.name, snapshot(drop)))


if __name__ == "__main__":
    if "free" not in sys.argv:
        refuse_set_id()
        assert_refused()
    what = {"serve": run_until_quiet, "send-back": send_back}[sys.argv[1]]
    what(Shop(Path(sys.argv[2])))
