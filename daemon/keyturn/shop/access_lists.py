"""Rights given through a folder's or file's access list (acl(5)), which leaves its set-gid bit as it is.

chmod(2) sets all bits of a mode at once, the set-gid bit too. An access list of owner, group and others alone is the
same as the permission bits of the mode, and writing it changes these bits and no other.
"""

from __future__ import annotations

import errno
import os
import struct
from pathlib import Path

_NAME = "system.posix_acl_access"
# linux/posix_acl_xattr.h: the version, then an entry of tag, rights and id after another
_VERSION = struct.pack("<I", 2)
_ENTRY = struct.Struct("<HHI")
_OWNER, _GROUP, _MASK, _OTHERS = 0x01, 0x04, 0x10, 0x20  # linux/posix_acl.h, ACL_USER_OBJ and so on
_NO_ID = 0xFFFFFFFF
_Entry = tuple[int, int, int]


def set_permissions(place: int | Path, permissions: int) -> None:
    """Give `place`, an open descriptor or a path, the nine permission bits; users and groups named in its list stay.

    Raise OSError (ENOTSUP) where its file system has no access lists.
    """
    entries = _entries(place)
    tags = {tag for tag, _, _ in entries}
    # acl(5), "Correspondence between ACL entries and file permission bits"
    group = _MASK if _MASK in tags else _GROUP
    rights = {_OWNER: permissions >> 6 & 7, group: permissions >> 3 & 7, _OTHERS: permissions & 7}
    changed = (_ENTRY.pack(tag, rights.get(tag, had), named) for tag, had, named in entries)
    os.setxattr(place, _NAME, _VERSION + b"".join(changed))


def _entries(place: int | Path) -> list[_Entry]:
    """Return the entries of the list; those of owner, group and others where the mode says it all (ENODATA)."""
    try:
        data = os.getxattr(place, _NAME)
    except OSError as error:
        if error.errno != errno.ENODATA:
            raise
        return [(tag, 0, _NO_ID) for tag in (_OWNER, _GROUP, _OTHERS)]
    return list(_ENTRY.iter_unpack(data[len(_VERSION) :]))
