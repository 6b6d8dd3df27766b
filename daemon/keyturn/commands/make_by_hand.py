"""Make one drop without a shop, through the same pipeline as the service: for `keyturn make` and `keyturn check`."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from keyturn import pipeline
from keyturn.inbox.moving import move
from keyturn.outbox import revision_numbers, sheets
from keyturn.pipeline import Bench, Made
from keyturn.shop import durable_files
from keyturn.shop.reasons import Refused, refuse


@dataclass(frozen=True, slots=True)
class MadeByHand:
    """What was made, the revision's folder and the customer's sheet. Both are None where nothing is kept."""

    made: Made
    folder: Path | None
    sheet: Path | None


def make(drop: Path, out: Path, bench: Bench) -> MadeByHand:
    """Make `drop` into out/<customer>/<job>-rN. Raise `Refused` where it cannot be made, and leave no half of it."""
    out.mkdir(parents=True, exist_ok=True)
    with _opened(drop) as (folder, scratch), _staging(out) as staging:
        job = pipeline.understand(folder, drop_name(drop), scratch, bench)
        revision = revision_numbers.next_number([out], job.customer_folder, job.job_folder)
        made = pipeline.make(job, f"by-hand-{drop.name}", drop.name, revision, staging, scratch, bench)
        durable_files.fsync_tree(staging)
        target = out / job.customer_folder / f"{job.job_folder}-r{revision}"
        target.parent.mkdir(exist_ok=True)
        move(staging, target)
        return MadeByHand(made, target, sheets.write_sheet(out, job.customer_folder, bench.rules))


def check(drop: Path, bench: Bench) -> MadeByHand:
    """Make `drop` as `make` does, and keep nothing. The result has every reason that the shop would find."""
    with _opened(drop) as (folder, scratch), tempfile.TemporaryDirectory(prefix="keyturn-") as staging:
        job = pipeline.understand(folder, drop_name(drop), scratch, bench)
        made = pipeline.make(job, "check", drop.name, 1, Path(staging), scratch, bench)
        return MadeByHand(made, None, None)


def drop_name(drop: Path) -> str:
    """Return the name of the folder, or of the zip without its suffix."""
    drop = drop.resolve()
    return drop.stem if drop.is_file() else drop.name


@contextmanager
def _opened(drop: Path) -> Iterator[tuple[Path, Path]]:
    """Yield the drop's folder and a scratch folder. Of a zip, a copy in a folder of its own is used."""
    if not drop.exists():
        what = "there is no such file or folder"
        raise Refused([refuse("drop-missing", what, "name the folder of a drop, or its zip", file=str(drop))])
    with tempfile.TemporaryDirectory(prefix="keyturn-") as scratch_name:
        scratch = Path(scratch_name)
        if not drop.is_file():
            yield drop.resolve(), scratch
            return
        folder = scratch / "drop"
        folder.mkdir()
        shutil.copyfile(drop, folder / drop.name)
        yield folder, scratch


@contextmanager
def _staging(out: Path) -> Iterator[Path]:
    staging = Path(tempfile.mkdtemp(prefix=".building-", dir=out))
    staging.chmod(0o755)
    try:
        yield staging
    finally:
        shutil.rmtree(staging, ignore_errors=True)
