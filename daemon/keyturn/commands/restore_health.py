"""What `keyturn doctor` says about radios' kept stock files: they are the only way back, and lie where people write."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from keyturn.commands.finding import Finding, Health, well
from keyturn.commands.stick_copy import TAKE_FROM_ARCHIVE
from keyturn.outbox import published_digests, restore_folders
from keyturn.shop.folders import Shop


def restores(shop: Shop) -> Iterator[Finding]:
    """Tell how many radios have a way back, and which is not as it was kept. `keyturn copy` compares the contents."""
    try:
        folders = list(restore_folders.folders(shop.outbox))
        spoilt = [folder for folder in folders if not _is_as_kept(shop, folder)]
    except OSError:
        return  # _folders reports it
    for folder in spoilt:
        yield Finding(Health.MIND, f"{folder} is not as the stock files were kept", TAKE_FROM_ARCHIVE)
    if count := len(folders) - len(spoilt):
        yield well(f"stock files are kept of {count} radios" if count > 1 else "stock files are kept of one radio")


def _is_as_kept(shop: Shop, folder: Path) -> bool:
    """Whether the record is the one that was published, and each file has its size."""
    record = restore_folders.read(folder)
    target = f"{folder.parent.name}/{folder.name}"
    if record is None or published_digests.recorded(shop.published, target) != published_digests.digest_of(folder):
        return False
    paths = [(folder / record.folder / file.path, file.size) for file in record.files]
    return all(path.is_file() and not path.is_symlink() and path.stat().st_size == size for path, size in paths)
