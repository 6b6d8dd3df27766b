"""The SHA-256 of each published job.json, in state/published, where the service alone writes.

job.json holds the SHA-256 of each file on the stick. Whoever has another copy of its own digest can tell whether a
revision in the outbox is as the service made it.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable
from pathlib import Path

from keyturn.outbox import calibration_folders, restore_folders
from keyturn.outbox.customer_folder import RECORD_MOST_BYTES, revision_names
from keyturn.shop import durable_files
from keyturn.shop.own_files import is_plain_folder


def record(published: Path, target: str, revision: Path) -> None:
    """Note in `published` the digest of the job.json in `revision`, which is, or will be, at `target` in the outbox."""
    digest = digest_of(revision)
    if digest is None:
        return
    place = published / target
    durable_files.make_folders(published, place.parent)
    durable_files.write_atomic(place, digest.encode("ascii"))


def recorded(published: Path, target: str) -> str | None:
    """Return the digest noted for `target`, `<customer>/<job>-r<n>`; None where there is none."""
    data = durable_files.read_plain(published / target, 64)
    return None if data is None else data.decode("ascii", "replace")


def digest_of(revision: Path) -> str | None:
    """Return the SHA-256 of the revision's job.json, or of the record of stock files or films; None without."""
    for name in ("job.json", restore_folders.RECORD, calibration_folders.RECORD):
        if (data := durable_files.read_plain(revision / name, RECORD_MOST_BYTES)) is not None:
            return hashlib.sha256(data).hexdigest()
    return None


def adopt_all(published: Path, outbox: Path, alive: Callable[[], object] = lambda: None) -> None:
    """Note the digests of all revisions in the outbox, once: where `published` is not there yet.

    The shop is then one of an earlier Keyturn, or its state was lost. `alive` is called before each customer.
    """
    if published.exists():
        return
    beside = published.with_name(f"{published.name}.new")
    if beside.exists():
        shutil.rmtree(beside)
    beside.mkdir()
    for customer in filter(is_plain_folder, outbox.iterdir()):
        if not customer.name.startswith("."):
            alive()
            for name in revision_names(customer):
                record(beside, f"{customer.name}/{name}", customer / name)
    for folder in (*restore_folders.folders(outbox), *calibration_folders.folders(outbox)):
        record(beside, f"{folder.parent.name}/{folder.name}", folder)
    durable_files.fsync_tree(beside)
    beside.rename(published)
    durable_files.fsync_dir(published.parent)
