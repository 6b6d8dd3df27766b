"""Find a radio's kept stock files, by their folder's name in the outbox or by a path."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from keyturn.commands import job_search
from keyturn.commands.stick_copy import TAKE_FROM_ARCHIVE, RestoreFolder
from keyturn.outbox import restore_folders
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.wrong_use import WrongUse


def find(name: str, shop_of: Callable[[], Shop]) -> RestoreFolder | None:
    """Return what goes on the stick where `name` means kept stock files; None where it means a job.

    It is the path of their folder or of its usb, or "customer/restore-radio", or "restore-radio" where one customer
    alone has it. `shop_of` is asked for the shop where a name may mean one. Raise `WrongUse` where several have that
    name, and `ShopFault` where the record cannot be read or is not as the service wrote it.
    """
    named = Path(name)
    for folder in (named, named.parent):
        if (folder / restore_folders.RECORD).is_file() and named.is_dir():
            return _opened(folder.resolve())
    if named.is_dir() or not named.name.startswith(restore_folders.PREFIX):
        return None
    outbox = shop_of().outbox
    every = {folder: folder.relative_to(outbox).as_posix() for folder in restore_folders.folders(outbox)}
    found = [folder for folder, path in every.items() if name in (path, folder.name)]
    if len(found) > 1:
        raise WrongUse(f"several customers have {name}", f"say which: {', '.join(every[folder] for folder in found)}")
    return _opened(found[0], Shop(outbox.parent)) if found else None


def _opened(folder: Path, *shops: Shop) -> RestoreFolder:
    record = restore_folders.read(folder)
    if record is None:
        raise ShopFault(f"{folder} has no readable {restore_folders.RECORD}", TAKE_FROM_ARCHIVE)
    job_search.check_published(folder, shops, restore_folders.RECORD, TAKE_FROM_ARCHIVE)
    return RestoreFolder(record, folder / record.folder)
