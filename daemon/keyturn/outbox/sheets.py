"""Writing a customer's sheet, outbox/<customer>/proof.html, whole and in one step."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from loguru import logger

from keyturn.outbox import published_digests, revision_life
from keyturn.outbox.customer_folder import file_state, newest_first
from keyturn.outbox.record_files import NO_PICTURES, read_job_once, read_player, read_proof
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.papers import Papers
from keyturn.shop.records import JobRecord, PlayerRecord, ProofRecord
from keyturn.shop.rulebook import Rulebook

if TYPE_CHECKING:  # imported when a sheet is written: see `pages.papers_ahead`
    from keyturn.pages.answer import Told
    from keyturn.pages.sheet import Beside

Shown = tuple[JobRecord, ProofRecord]
"""A revision and its pictures."""

OWN_PAGE = "proof.html"
"""In a revision's folder: the sheet of that revision alone."""

ON_SHEET = 20
"""A sheet shows so many of the newest revisions. More would not fit, and each new job of a customer of many years would
take longer."""


def write_sheet(outbox: Path, customer: str, rules: Rulebook, papers: Papers | None = None) -> Path | None:
    """Write outbox/<customer>/proof.html from the customer's revisions and return its path.

    Return None, and leave an old sheet as it is, where no revision can be read.
    """
    folder = outbox / customer
    names = newest_first(folder)
    shown = _shown(names)
    paths = [folder / name for name in shown]
    found = [(path, record, read_proof(path)) for path in paths if (record := read_job_once(path))]
    jobs = [(record, proof) for _, record, proof in found]
    if not jobs:
        return None
    beside = _beside({(record.job, record.revision): path for path, record, _ in found})
    page = _page(jobs, rules, beside, papers or Papers(), earlier=len(names) - len(shown))
    if page is None:
        return None
    target = folder / "proof.html"
    durable_files.write_atomic(target, page.encode("utf-8"))
    return target


def _beside(paths: Mapping[tuple[str, int], Path]) -> Beside:
    """Return what lies beside the records in the revisions' folders, by job and number."""
    from keyturn.pages.answer import Told
    from keyturn.pages.sheet import NO_PLAYER, Beside

    def player(record: JobRecord, most: float) -> PlayerRecord:
        return read_player(paths[record.job, record.revision], most) or NO_PLAYER

    def own_page(record: JobRecord) -> str:
        path = paths[record.job, record.revision]
        return f"{path.name}/{OWN_PAGE}" if file_state(path / OWN_PAGE) is not None else ""

    def told(record: JobRecord) -> Told | None:
        path = paths[record.job, record.revision]
        digest = published_digests.digest_of(path)
        return Told(f"{path.parent.name}/{path.name}", digest, revision_life.read(path).answer) if digest else None

    return Beside(player, own_page, told)


def _page(jobs: list[Shown], rules: Rulebook, beside: Beside, papers: Papers, earlier: int) -> str | None:
    """Return the sheet. Leave out what cannot be drawn of a record that was changed by hand; None where nothing can.

    Raise OSError where the disk fails while the player's pictures are read.
    """
    from keyturn.pages.sheet import sheet

    def drawn(of: list[Shown]) -> str:
        cautions = rules.safety.cautions.sheet
        return sheet(of[0][0].customer, of, cautions, earlier=earlier, beside=beside, papers=papers)

    try:
        return drawn(jobs)
    except OSError:
        raise
    except Exception:
        logger.opt(exception=True).warning("a sheet cannot be drawn whole; each revision is tried alone")
    sound = [tried for job in jobs for tried in _as_drawable(job, drawn)]
    return drawn(sound) if sound else None


def _as_drawable(job: Shown, drawn: Callable[[list[Shown]], str]) -> Iterator[Shown]:
    """Yield the revision as it can be drawn: with its pictures, without, or not at all."""
    for tried in (job, (job[0], NO_PICTURES)):
        try:
            drawn([tried])
        except OSError:
            raise
        except Exception as error:
            logger.warning("revision {} of {} cannot be drawn: {}", job[0].revision, job[0].job, error)
        else:
            yield tried
            return


def _shown(names: list[str]) -> list[str]:
    """Return the newest `ON_SHEET` names, and the revision before the newest of its job, however old that is.

    The sheet says what has changed since that one.
    """
    jobs = [named[0] for name in names if (named := job_and_number(name))]
    before = [place for place, job in enumerate(jobs) if job == jobs[0]][1:2]
    return names[:ON_SHEET] + [names[place] for place in before if place >= ON_SHEET]
