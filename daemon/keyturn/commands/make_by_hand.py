"""One drop without a shop: what `keyturn make` and `keyturn check` do, in the line's own way."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from keyturn import pipeline
from keyturn.inbox.moving import move
from keyturn.outbox import papers, revision_numbers
from keyturn.pipeline import Bench, Made
from keyturn.shop import durable_files
from keyturn.shop.reasons import Refused, refuse


@dataclass(frozen=True, slots=True)
class Result:
    """`folder` is the revision's folder, `sheet` the customer's; None where nothing was to be kept."""

    made: Made
    folder: Path | None
    sheet: Path | None


def make(drop: Path, out: Path, bench: Bench) -> Result:
    """Makes `drop` into out/<customer>/<job>-rN. Raises `Refused`; leaves nothing half-made."""
    out.mkdir(parents=True, exist_ok=True)
    with _opened(drop) as (folder, scratch), _staging(out) as staging:
        job = pipeline.understand(folder, drop_name(drop), scratch, bench)
        revision = revision_numbers.next_number([out], job.customer_folder, job.job_folder)
        made = pipeline.make(job, f"by-hand-{drop.name}", drop.name, revision, staging, scratch, bench)
        durable_files.fsync_tree(staging)
        target = out / job.customer_folder / f"{job.job_folder}-r{revision}"
        target.parent.mkdir(exist_ok=True)
        move(staging, target)
        return Result(made, target, papers.write_sheet(out, job.customer_folder, bench.rules))


def check(drop: Path, bench: Bench) -> Result:
    """As `make`, and throws the work away: every finding that the shop would have."""
    with _opened(drop) as (folder, scratch), tempfile.TemporaryDirectory(prefix="keyturn-") as staging:
        job = pipeline.understand(folder, drop_name(drop), scratch, bench)
        made = pipeline.make(job, "check", drop.name, 1, Path(staging), scratch, bench)
        return Result(made, None, None)


def drop_name(drop: Path) -> str:
    drop = drop.resolve()
    return drop.stem if drop.is_file() else drop.name


@contextmanager
def _opened(drop: Path) -> Iterator[tuple[Path, Path]]:
    """The drop's folder and a scratch folder; a zip is laid in a folder of its own, the original is not touched."""
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
