"""A drop of a radio's stock files: told from a job's by its manifest, and built as it goes to the outbox.

The files are copied byte for byte. Nothing of them is read but for whether the animation is a whole zip.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from keyturn import __version__
from keyturn.inbox.survey import Survey
from keyturn.manifest.models import Manifest
from keyturn.outbox import restore_folders
from keyturn.package import stock_files
from keyturn.package.stock_files import StockFiles
from keyturn.pages.restore_text import restore_text
from keyturn.pipeline import OpenedDrop
from keyturn.pipeline.bench import Bench
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import REASONS_SHOWN, Kind, Reason, Refused, first_of, only, stop_if_refused
from keyturn.shop.records import RestoreRecord
from keyturn.shop.stick_names import INSTALL

SUMS = "SHA256SUMS"
"""The digests as `sha256sum --check` reads them (GNU coreutils)."""


@dataclass(frozen=True, slots=True)
class StockDrop:
    """A drop of stock files understood: whose they are, and which files go on the stick."""

    found: Survey
    manifest: Manifest
    radio: Radio
    files: StockFiles
    reasons: tuple[Reason, ...]

    @property
    def target(self) -> str:
        """Where they go in the outbox."""
        return restore_folders.target_of(self.manifest.customer, self.radio.name)


def of_stock(drop: OpenedDrop, scratch: Path, bench: Bench) -> StockDrop | None:
    """Return the drop of stock files; None where the manifest is another's.

    Raise `Refused` with all that is wrong, the customer and the artist's folder.
    """
    root, rules, manifest, faults = drop.found.root, bench.rules, drop.manifest, drop.faults
    if manifest is None or not manifest.stock:
        return None
    radio = rules.radio(manifest.radio[0])
    reasons = [*drop.reasons, *drop.found.reasons, *faults, *rules.radios_renamed(manifest.radio)]
    try:
        if isinstance(radio, Reason):
            raise Refused([*only(reasons, Kind.REFUSE), radio])
        stop_if_refused(reasons)
        files = stock_files.stock_files(drop.found, radio)
        stock_files.check_whole(drop.found, files, scratch, rules)
    except Refused as refused:
        raise Refused(refused.reasons, customer=manifest.customer, root=root) from None
    return StockDrop(drop.found, manifest, radio, files, (*reasons, *files.reasons))


def build(stock: StockDrop, claim: str, drop_name: str, staging: Path, bench: Bench) -> RestoreRecord:
    """Fill the empty folder `staging` with what goes to the outbox: usb/, its digests, INSTALL.txt and the record."""
    record = RestoreRecord(
        keyturn=__version__,
        customer=stock.manifest.customer,
        radio=stock.radio.name,
        title=stock.radio.title,
        drop=drop_name,
        claim=claim,
        kept_at=bench.now().isoformat(timespec="seconds"),
        files=(),
        reasons=first_of(stock.reasons, REASONS_SHOWN),
    )
    files = stock_files.copy_stock(stock.found, stock.files, staging / record.folder)
    record = record.model_copy(update={"files": files})
    cautions = bench.rules.safety.cautions.card
    texts = {
        SUMS: "".join(f"{file.sha256}  {record.folder}/{file.path}\n" for file in files),
        INSTALL: restore_text(record, stock.radio, cautions, bench.papers.letterhead),
        restore_folders.RECORD: record.model_dump_json(indent=2),
    }
    for name, text in texts.items():
        (staging / name).write_bytes(text.encode("utf-8"))
    return record
