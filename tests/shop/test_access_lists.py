"""Rights through an access list: the permission bits change, the set-gid bit and who is named in the list stay.

Source of what is expected: acl(5), "Correspondence between ACL entries and file permission bits".
"""

from __future__ import annotations

import os
import stat
import struct
from pathlib import Path

import pytest

from keyturn.shop.access_lists import set_permissions

LIST = "system.posix_acl_access"


def entries(*parts: tuple[int, int, int]) -> bytes:
    """linux/posix_acl_xattr.h: version 2, then tag, rights and id of each."""
    return struct.pack("<I", 2) + b"".join(struct.pack("<HHI", *part) for part in parts)


@pytest.mark.parametrize("before", [0o2750, 0o750, 0o2700])
@pytest.mark.parametrize("permissions", [0o770, 0o750, 0o700, 0o705])
def test_the_permission_bits_are_set_and_the_set_gid_bit_stays(tmp_path: Path, before: int, permissions: int) -> None:
    tmp_path.chmod(before)
    set_permissions(tmp_path, permissions)
    assert stat.S_IMODE(tmp_path.stat().st_mode) == before & 0o2000 | permissions
    assert LIST not in os.listxattr(tmp_path), "the mode says it all"


def test_a_user_who_is_named_in_the_list_stays_and_the_groups_bits_are_the_mask(tmp_path: Path) -> None:
    owner, group, others, no_id = (1, 7, 0xFFFFFFFF), (4, 5, 0xFFFFFFFF), (0x20, 0, 0xFFFFFFFF), 0xFFFFFFFF
    named = (2, 6, os.geteuid() + 1)
    os.setxattr(tmp_path, LIST, entries(owner, named, group, (0x10, 5, no_id), others))
    set_permissions(tmp_path, 0o770)
    assert os.getxattr(tmp_path, LIST) == entries(owner, named, group, (0x10, 7, no_id), others)
