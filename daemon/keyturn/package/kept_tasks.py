"""The work on pictures whose results are kept: another revision, drop, radio or process finds them again."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.flatten.frame_source import Source
from keyturn.judge.crop_thumbnails import ThumbnailJob, make_thumbnails
from keyturn.normalize import probing
from keyturn.normalize.reading.probe import Probe
from keyturn.normalize.sheet_cells import Cell, SheetJob, filled
from keyturn.package.frame import FrameDone, FrameJob, make_frame
from keyturn.package.frames_together import jobs_beside, make_frames
from keyturn.package.picture_tasks import Compare, compare
from keyturn.package.player_patch import PictureDone, PictureJob, make_picture
from keyturn.package.repack import Recode, Recoded, recode
from keyturn.shop.records import HandoffRecord
from keyturn.workers.keeping_crew import KeptTask, Rename


def _frame_job(job: FrameJob, rename: Rename) -> FrameJob:
    return replace(job, source=_source(job.source, rename), beside=(), patch=None)


def _source(source: Source, rename: Rename) -> Source:
    return replace(
        source,
        name=rename(source.name),
        backdrop=source.backdrop and (source.backdrop[0], rename(source.backdrop[1])),
        figures=tuple(
            replace(placed, figure=replace(placed.figure, name=rename(placed.figure.name))) for placed in source.figures
        ),
        into=source.into and (_source(source.into[0], rename), source.into[1]),
    )


def _frame_done(done: FrameDone, rename: Rename) -> FrameDone:
    named = (r.model_copy(update={"file": rename(r.file)}) if r.file is not None else r for r in done.reasons)
    return replace(done, reasons=tuple(named)) if done.reasons else done


def _thumbnail_job(job: ThumbnailJob, rename: Rename) -> ThumbnailJob:
    return replace(job, sources=tuple(_source(source, rename) for source in job.sources))


def _named_job(job: Any, rename: Rename) -> Any:
    return replace(job, name=rename(job.name))


# Files in a job stand in its key as their digests: written into it whole they are copied, and hashed with it again.


def _recode_job(job: Recode, rename: Rename) -> Recode:
    return replace(job, name=rename(job.name), data=_file_digest(job.data))


def _compare_job(job: Compare, rename: Rename) -> Compare:
    return replace(job, a=_file_digest(job.a), b=_file_digest(job.b))


def _picture_job(job: PictureJob, rename: Rename) -> PictureJob:
    base = None if job.base is None else _base_digest(job.base)
    return replace(job, name=rename(job.name), file=_file_digest(job.file), base=base)


def _file_digest(file: bytes) -> bytes:
    from blake3 import blake3

    return blake3(file).digest()


@lru_cache(maxsize=2)
def _base_digest(base: bytes) -> bytes:
    """Every picture of a part has the same base."""
    return _file_digest(base)


def _as_it_is(job: Any, rename: Rename) -> Any:
    """What a file's header says names the file, and depends on its name's ending."""
    return job


KEPT_TASKS: tuple[KeptTask[Any, Any], ...] = (
    KeptTask[FrameJob, FrameDone](make_frame, FrameDone, _frame_job, _frame_done, make_frames, jobs_beside),
    KeptTask[ThumbnailJob, tuple[NDArray[np.uint8], ...]](
        make_thumbnails, tuple[NDArray[np.uint8], ...], _thumbnail_job
    ),
    KeptTask[probing.ProbeJob, Probe](probing.look, Probe, _as_it_is),
    KeptTask[SheetJob, tuple[Cell, ...]](filled, tuple[Cell, ...], _named_job),
    KeptTask[Recode, Recoded](recode, Recoded, _recode_job),
    KeptTask[PictureJob, PictureDone](make_picture, PictureDone, _picture_job),
    KeptTask[Compare, tuple[HandoffRecord, bytes]](compare, tuple[HandoffRecord, bytes], _compare_job),
)
