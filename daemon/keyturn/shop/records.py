"""What Keyturn writes down: `job.json` and `proof.json` of a revision, `REJECTED.json`, and the shop's state.

These records are the folders' own memory: the ledger, the pages and recovery are all rebuilt from them.
Times are ISO 8601 in UTC, durations seconds, sizes bytes unless a name says otherwise.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

from keyturn.shop.reasons import Reason


class Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")  # a newer Keyturn's record stays readable


class PartRecord(Record):
    """One row of desc.txt as planned. `count` 0 is until booted; `pause` as written in the file.

    `jpeg_frames` and `palette_frames` of the frames are JPEG and palette PNG, the others RGB PNG. `trimmed`: frames
    are cropped. `bytes` of all frames' files, and what they would have as whole RGB pictures; 0: not written down.
    """

    path: str
    type: Literal["p", "c", "f"]
    count: int
    pause: int
    pause_s: float
    frames: int
    art: str
    jpeg_frames: int = 0
    palette_frames: int = 0
    trimmed: bool = False
    bytes: int = 0
    plain_bytes: int = 0


class PaceRow(Record):
    """One line of the table of alternatives: what another fps would do."""

    fps: int
    once_only_s: float
    share_finished: float
    hold_usual_s: float


class TimelineRecord(Record):
    """How the radio plays it. `once_only_s` is when the parts that play once end, from the first frame."""

    interval_s: float
    once_only_s: float
    share_finished: float
    finish_wanted: float
    boot_shortest_s: float
    boot_usual_s: float
    boot_longest_s: float
    boot_samples_s: tuple[float, ...] = ()
    hold_usual_s: float
    hold_shortest_s: float
    hold_longest_s: float
    delay_s: float
    on_screen_at_cut: str
    alternatives: tuple[PaceRow, ...] = ()


class FlashRecord(Record):
    passes: bool
    general_max_per_s: int
    red_max_per_s: int
    most_per_s: int
    worst_at_s: float
    per_second: tuple[tuple[float, int, int], ...] = ()  # (time, general, red) for the chart


class MemoryRecord(Record):
    peak_mib: float
    allowed_mib: float


class HandoffRecord(Record):
    """Logo against frame 1. `share_changed` of pixels, mean CIELAB difference."""

    share_changed: float
    mean_difference: float


class FileRecord(Record):
    path: str
    size: int
    sha256: str


class RadioRecord(Record):
    """One radio's work within a revision; `folder` holds exactly what goes on its stick."""

    radio: str
    title: str
    width: int
    height: int
    bits: int
    folder: str
    desc: str
    fps: int
    parts: tuple[PartRecord, ...]
    timeline: TimelineRecord
    flash: FlashRecord
    memory: MemoryRecord
    handoff: HandoffRecord
    files: tuple[FileRecord, ...]
    zip_bytes: int
    zip_allowed_bytes: int
    reasons: tuple[Reason, ...] = ()


class JobRecord(Record):
    """job.json: the revision's own account. `claim` ties it to the drop it was made from."""

    keyturn: str
    customer: str
    job: str
    artist: str | None
    drop: str
    claim: str
    digest: str
    made_at: str
    revision: int
    radios: tuple[RadioRecord, ...]
    reasons: tuple[Reason, ...] = ()


class RadioProof(Record):
    """Pictures for the sheet, as data URIs, small. `frames` holds each distinct picture once.

    `order[p]` lists, for part p, indexes into `frames`; `changes[p]` the change from the frame before
    (mean absolute relative luminance, 0 to 1).
    """

    radio: str
    logo: str
    frames: tuple[str, ...]
    order: tuple[tuple[int, ...], ...]
    changes: tuple[tuple[float, ...], ...] = ()
    handoff_picture: str | None = None


class ProofRecord(Record):
    """proof.json: what the customer's sheet shows of one revision."""

    radios: tuple[RadioProof, ...]


class Rejection(Record):
    """REJECTED.json. `pictures` maps an offending file to a small data URI where one can be drawn."""

    keyturn: str
    drop: str
    claim: str
    customer: str | None
    rejected_at: str
    reasons: tuple[Reason, ...]
    pictures: dict[str, str] = {}


class Waiting(Record):
    name: str
    files: int
    since: str
    rush: bool = False
    note: str = ""


class Working(Record):
    name: str
    stage: str
    done: int
    total: int
    since: str


class Ready(Record):
    """A revision to collect. `path` is relative to the outbox."""

    customer: str
    job: str
    revision: int
    radios: tuple[str, ...]
    path: str
    made_at: str


class RefusedDrop(Record):
    """A folder in rejects, `path` relative to the shop's root."""

    name: str
    customer: str | None
    path: str
    rejected_at: str
    reasons: tuple[Reason, ...]


class ShopState(Record):
    """The whole shop at one moment: what status and the board show. Lists hold the first rows, totals count all."""

    at: str
    running: bool
    pid: int | None = None
    paused: str | None = None
    watching: str = ""
    waiting: tuple[Waiting, ...] = ()
    working: tuple[Working, ...] = ()
    ready: tuple[Ready, ...] = ()
    refused: tuple[RefusedDrop, ...] = ()
    waiting_total: int = 0
    ready_total: int = 0
    refused_total: int = 0
