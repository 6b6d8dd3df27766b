"""The folders with what films of a radio taught: outbox/<customer>/calibration-<radio>-<time>, one for each drop."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop.file_names import safe_name
from keyturn.shop.own_files import is_plain_folder

RECORD = "calibration.json"
PREFIX = "calibration-"

_TIME, _WITH_DIGITS = 15, 22
"""Where a claim's id has its time, and its time and six digits that no other has."""


def target_of(outbox: Path, customer: str, radio: str, claim: str) -> str:
    """Return the path in the outbox of what the drop of this claim teaches. Nothing has it yet.

    It never looks like a revision's, which retention and revision numbers go by.
    """
    folder = f"{safe_name(customer)}/{PREFIX}{safe_name(radio)}"
    target = f"{folder}-{claim[:_TIME]}"
    if (outbox / target).exists() or job_and_number(target.rpartition("/")[2]) is not None:
        target = f"{folder}-{claim[:_WITH_DIGITS]}"
    return target


def folders(outbox: Path) -> Iterator[Path]:
    """Yield every such folder in the outbox that has a record."""
    for customer in sorted(filter(is_plain_folder, outbox.iterdir() if outbox.is_dir() else ())):
        if not customer.name.startswith("."):
            named = (path for path in customer.iterdir() if path.name.startswith(PREFIX))
            yield from sorted(path for path in named if is_plain_folder(path) and (path / RECORD).is_file())
