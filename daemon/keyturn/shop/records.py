"""The JSON files that Keyturn writes: `job.json` and `proof.json` of a revision, `REJECTED.json`, the shop's state.

They lie in the folders they describe. The ledger and the pages are rebuilt from them, and recovery reads them.
Times are ISO 8601 in UTC, durations seconds, sizes bytes unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from keyturn.shop.bounded_record import Record as Record
from keyturn.shop.reasons import Reason


class PartRecord(Record):
    """One row of desc.txt. `count` is how often the part plays, 0 until booted; `pause` is as written in desc.txt.

    `jpeg_frames` of the frames are JPEG, `palette_frames` are palette PNG, the others RGB PNG. `trimmed`: frames are
    cropped to what differs from their background. `bytes` is the size of all frames' files, `plain_bytes` what they
    would have as whole RGB PNG. Both are 0 in records of before these figures were written. `places` are the frames'
    indices in the part as it was drawn, where Keyturn left frames out.
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
    places: tuple[int, ...] = ()


class PaceRow(Record):
    """One row of the table of other speeds: how the animation would play at `fps`."""

    fps: int
    once_only_s: float
    share_finished: float
    hold_usual_s: float


class FinishedRecord(Record):
    """`finished` of `starts` measured starts last until the once-only parts end: `low` to `high` (0 to 1) of all."""

    finished: int
    starts: int
    low: float
    high: float


class TimelineRecord(Record):
    """How the radio plays the animation. `once_only_s`: when the once-only parts end, counted from the first frame.

    `interval_s` is the time from one frame to the next in a part's first play and `work_s` its part until the frame
    appears; `later_...` are those of later plays, which need not decode (None in older records: as the first).
    `killed`: the player is ended when the boot is over. Every `pause_check_s` it looks in a pause whether that is so;
    with 0 it does not. `black_first`: it shows a black picture before frame 1. `generations` are those that the player
    may be of: more than one where that is a guess. `measured` is None where too few starts were measured.
    """

    interval_s: float
    later_interval_s: float | None = None
    work_s: float = 0.0
    later_work_s: float = 0.0
    pause_check_s: float = 0.0
    killed: bool = False
    black_first: bool = False
    generations: tuple[str, ...] = ()
    once_only_s: float
    share_finished: float
    finish_wanted: float
    boot_shortest_s: float
    boot_usual_s: float
    boot_longest_s: float
    boot_samples_s: tuple[float, ...] = ()
    measured: FinishedRecord | None = None
    hold_usual_s: float
    hold_shortest_s: float
    hold_longest_s: float
    delay_s: float
    on_screen_at_cut: str
    alternatives: tuple[PaceRow, ...] = ()


class FlashRecord(Record):
    """The flash check's result. `per_second` holds (time in seconds, general flashes, red flashes) for the chart.

    `field_share` is the largest share of a 10-degree field that was seen to flash more often than is allowed.
    """

    passes: bool
    general_max_per_s: int
    red_max_per_s: int
    most_per_s: int
    worst_at_s: float
    field_share: float = 0.0
    per_second: tuple[tuple[float, int, int], ...] = ()


class MemoryRecord(Record):
    """Memory that the pictures take on the radio, and what the radio allows."""

    peak_mib: float
    allowed_mib: float


class HandoffRecord(Record):
    """How frame 1 differs from the logo: the share of pixels that change, and their mean CIELAB difference."""

    share_changed: float
    mean_difference: float


class FileRecord(Record):
    """A file on the stick: path from the stick's root, size in bytes, SHA-256 in hex."""

    path: str
    size: int
    sha256: str


class RadioRecord(Record):
    """What a revision holds for one radio. `folder` holds exactly the files that go on its stick."""

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


class RestoreRecord(Record):
    """The stock files of one customer's radio as they are kept: `files` lie in the folder `folder` beside the record.

    `reasons` say which files of the drop are none of them.
    """

    keyturn: str
    customer: str
    radio: str
    title: str
    drop: str
    claim: str
    kept_at: str
    files: tuple[FileRecord, ...]
    folder: str = "usb"
    reasons: tuple[Reason, ...] = ()


class CalibrationRecord(Record):
    """What films of a radio taught, as its page tells it: `facts` are titles and words, `doubts` what is open.

    `stored` says whether it stands in the shop's rules; else `command` is what stores it. `boots_s` are the films'
    boots in s, `interval_s` the time from frame to frame.
    """

    keyturn: str
    customer: str
    radio: str
    title: str
    drop: str
    claim: str
    made_at: str
    films: tuple[str, ...]
    boots_s: tuple[float, ...]
    interval_s: float
    facts: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...]
    stored: bool
    command: str = ""
    reasons: tuple[Reason, ...] = ()


class JobRecord(Record):
    """job.json: what a revision holds. `claim` is the id under which its drop was taken.

    `mends` is the claim of the refused drop that this one is a mended copy of. `picture` is the name of a small picture
    beside it; records of before have none. `language` is that of the customer's pages where job.toml names one.
    `vehicles` are those that the job is fitted into, one by one; none where it does not say. `row` is the row of a
    fleet's table that it was made from, as a spreadsheet counts it, and 0 where the drop is one job. `restores` names,
    for each of its radios whose stock files are kept for the customer, their folder in the outbox.
    """

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
    mends: str | None = None
    picture: str = ""
    language: str | None = None
    vehicles: tuple[str, ...] = ()
    row: int = 0
    restores: Mapping[str, str] = Field(default_factory=dict)

    @property
    def every_reason(self) -> tuple[Reason, ...]:
        """The reasons of the job and of each of its radios."""
        return (*self.reasons, *(reason for radio in self.radios for reason in radio.reasons))


class RadioProof(Record):
    """Small pictures for the sheet, as data URIs. `frames` holds each different picture once.

    For part p, `order[p]` lists the frames as indices into `frames`, and `changes[p]` how much each frame differs
    from the one before (mean absolute difference of relative luminance, 0 to 1).
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


class PlayerPicture(Record):
    """A picture of the sheet's player, as a data URI. `number` is that of the same picture in `RadioProof`.

    With a `base` (the number of another picture) it is only the box that differs from that one, and its upper left
    corner lies `left` and `top` pixels from the base's, on a picture of the player's size.
    """

    number: int
    data: str
    base: int | None = None
    left: int = 0
    top: int = 0


class RadioPlayer(Record):
    """The player's pictures of one radio. `width` and `height` are those of moving pictures; `logo` is a number."""

    radio: str
    logo: int
    width: int
    height: int
    pictures: tuple[PlayerPicture, ...]


class PlayerRecord(Record):
    """player.json: the large pictures of a revision's sheet. Radios whose pictures are too large are left out."""

    radios: tuple[RadioPlayer, ...]


class Rejection(Record):
    """REJECTED.json. `pictures` maps a file at fault to a small picture of it (a data URI), where it can be read.

    `mends` is the claim of the earlier refused drop that this one is a copy of.
    """

    keyturn: str
    drop: str
    claim: str
    customer: str | None
    rejected_at: str
    reasons: tuple[Reason, ...]
    pictures: dict[str, str] = {}
    mends: str | None = None
