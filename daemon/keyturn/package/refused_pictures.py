"""The small pictures of a refused drop: of the files that its reasons name or show, and of frames that were made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from keyturn.flatten.frame_source import Source
from keyturn.package.animation import data_uri
from keyturn.package.picture_tasks import Check, small
from keyturn.renumber.patterns import is_art
from keyturn.shop.reasons import Kind, Reason, Refused, only
from keyturn.shop.records import RadioProof
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import Crew

MOST = 12
"""A rejects page shows at most this many pictures of files."""


def refused_pictures(refused: Refused, intake: Intake, crew: Crew) -> dict[str, str]:
    """Return small pictures as data URIs, by the name of the file or of the exhibit, as far as they can be read.

    There are none of files where the drop's time is up.
    """
    if refused.root is None:
        return refused.pictures
    return refused.pictures | file_pictures(_names(refused), refused.root, intake, crew)


def file_pictures(names: Iterable[str], root: Path, intake: Intake, crew: Crew) -> dict[str, str]:
    """Return small pictures, as data URIs, of the first `MOST` art files among `names` in `root` that can be read."""
    art = [name for name in dict.fromkeys(names) if is_art(name)][:MOST]
    jobs = [Check(Source(root / name, name), intake) for name in art if _is_plain(root / name)]
    results = crew.run(small, jobs, lambda job: job.source.name)
    try:
        pairs = list(zip(jobs, results, strict=True))
    except Refused:
        return {}
    return {job.source.name: data_uri(made) for job, made in pairs if not isinstance(made, Refused)}


def exhibited(reasons: Iterable[Reason], proofs: Iterable[RadioProof]) -> dict[str, str]:
    """Return the pictures of made frames that exhibits name; `proofs` hold them."""
    frames = {proof.radio: proof.frames for proof in proofs}
    return {
        exhibit.name: frames[exhibit.radio][exhibit.picture]
        for reason in reasons
        for exhibit in reason.exhibits
        if exhibit.radio in frames and exhibit.picture < len(frames[exhibit.radio])
    }


def _names(refused: Refused) -> Iterator[str]:
    """Yield the files of refusals, what they show, and what other reasons show."""
    refusals = only(refused.reasons, Kind.REFUSE)
    yield from (reason.file for reason in refusals if reason.file)
    yield from (exhibit.name for reason in (*refusals, *refused.reasons) for exhibit in reason.exhibits)


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()
