"""The folders with radios' stock files: outbox/<customer>/restore-<radio>, the way back of one customer's radio.

There is one for each radio of a customer, and it is never written again: of two versions a fitter at the vehicle could
not tell which one belongs to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from keyturn.outbox.record_files import readable_record
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.file_names import safe_name
from keyturn.shop.own_files import is_plain_folder
from keyturn.shop.records import RestoreRecord

RECORD = "restore.json"
PREFIX = "restore-"


def folder_name(radio: str) -> str:
    """Return the folder's name. It never looks like a revision's, which retention and revision numbers go by."""
    name = PREFIX + safe_name(radio)
    return name if job_and_number(name) is None else f"{name}-stock"


def target_of(customer: str, radio: str) -> str:
    """Return the folder's path in the outbox."""
    return f"{safe_name(customer)}/{folder_name(radio)}"


def kept(outbox: Path, customer: str, radios: Iterable[str]) -> dict[str, str]:
    """Return for each of the customer's radios whose stock files are kept their folder's path in the outbox."""
    targets = {radio: target_of(customer, radio) for radio in radios}
    return {radio: target for radio, target in targets.items() if read(outbox / target) is not None}


def read(folder: Path) -> RestoreRecord | None:
    """Return the record of the stock files in `folder`; None where there is none that can be read."""
    if not is_plain_folder(folder.parent) or not is_plain_folder(folder):
        return None
    return readable_record(folder / RECORD, RestoreRecord)


def folders(outbox: Path) -> Iterator[Path]:
    """Yield every folder of stock files in the outbox that has a record."""
    for customer in sorted(filter(is_plain_folder, outbox.iterdir() if outbox.is_dir() else ())):
        if not customer.name.startswith("."):
            named = (path for path in customer.iterdir() if path.name.startswith(PREFIX))
            yield from sorted(path for path in named if is_plain_folder(path) and (path / RECORD).is_file())


def same_files(folder: Path, record: RestoreRecord, other: RestoreRecord) -> bool:
    """Whether `other` has the files of `record`, and these still lie in `folder` as they were kept."""
    return record.files == other.files and all(
        durable_files.read_start(path, 0) is not None and durable_files.sha256(path) == file.sha256
        for file in record.files
        for path in [folder / record.folder / file.path]
    )
