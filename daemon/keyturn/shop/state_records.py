"""What `keyturn status` and the board show: the drops that wait, are in work, can be collected or were refused.

Times are ISO 8601 in UTC. The running service keeps it in state/service.json.
"""

from __future__ import annotations

from typing import Literal

from keyturn.shop.bounded_record import Record
from keyturn.shop.disk_look import DiskRoom
from keyturn.shop.reasons import Reason


class Waiting(Record):
    """A drop in the inbox: `since` when it is there, and in `note` why it is not taken yet."""

    name: str
    files: int
    since: str
    rush: bool = False
    note: str = ""


class Working(Record):
    """A drop in work: its stage, and how many of its frames are done. `total` is 0 where that is not known yet."""

    name: str
    stage: str
    done: int
    total: int
    since: str

    def progress(self) -> str:
        """Return how far the work has come, in words."""
        return f"{self.stage} {self.done}/{self.total}" if self.total else self.stage


class Ready(Record):
    """A revision to collect. `path` is relative to the outbox. `picture` names a small picture in it, or is empty.

    `vehicles` are those that it is for; none where the job does not say. It was made from the drop of this name, taken
    under `claim`; `row` is the row of a fleet's table, 0 where the drop was one job.
    """

    customer: str
    job: str
    revision: int
    radios: tuple[str, ...]
    path: str
    made_at: str
    picture: str = ""
    vehicles: tuple[str, ...] = ()
    claim: str = ""
    drop: str = ""
    row: int = 0

    @property
    def named_as_its_vehicle(self) -> bool:
        """Whether it is for one vehicle and has that vehicle's name, which need not be said twice then."""
        return self.vehicles == (self.job,)


Place = Literal["change", "stick", "fit", "customer", "fitted"]

PLACES: dict[Place, str] = {
    "change": "To be changed",
    "stick": "To be put on a stick",
    "fit": "To be fitted",
    "customer": "Waiting for the customer",
    "fitted": "Fitted this week",
}
"""What each place is called, in the order in which the board shows them: first what the shop has to do."""


class VehicleLine(Record):
    """One vehicle of a job: whether a stick for it is still to be made, it is to be fitted, or fitted, since when, and
    who said so. `place` is empty as long as nobody has said anything of it."""

    name: str
    place: Literal["", "stick", "fit", "fitted"] = ""
    since: str = ""
    said: str = ""

    @property
    def words(self) -> str:
        """The place in plain words."""
        return {"": "", "stick": "to be put on a stick", "fit": "to be fitted", "fitted": "fitted"}[self.place]


class PlacedJob(Ready):
    """The newest revision of a job and where it stands since `since`; `said` is who said what, in plain words.

    `lines` has one for each of its vehicles.
    """

    place: Place
    since: str
    said: str = ""
    lines: tuple[VehicleLine, ...] = ()


class PlaceCounts(Record):
    """How many jobs stand where. Not listed: those `fitted_earlier` than this week, and the `quiet` ones, which were
    made long ago and of which nobody has said anything."""

    change: int = 0
    stick: int = 0
    fit: int = 0
    customer: int = 0
    fitted: int = 0
    fitted_earlier: int = 0
    quiet: int = 0


class FleetCount(Record):
    """A fleet: the drop, and how many jobs were made of its rows. `places` counts how many of them stand where, for
    those that are the newest revision of their job."""

    drop: str
    claim: str
    jobs: int
    made_at: str
    places: dict[Place, int] = {}


class RefusedDrop(Record):
    """A drop in rejects. `path` is relative to the shop's root."""

    name: str
    customer: str | None
    path: str
    rejected_at: str
    reasons: tuple[Reason, ...]


ASIDE_FILE = "aside.json"


class AsideDrop(Record):
    """aside.json beside a drop in work: a fault that it met `times` times, and how to mend it.

    `place` is relative to the shop's root. `others_went`: another drop went through since the first time, so that the
    fault is this drop's. `is_own`: it comes from a file of the drop. `seen` is a fingerprint of the drop's files.
    `disks` are the folders whose disk was at fault, and what each disk took then.
    """

    name: str
    place: str
    what: str
    mend: str
    since: str
    times: int
    others_went: bool = False
    is_own: bool = False
    seen: str = ""
    disks: dict[str, DiskRoom] = {}

    def line(self) -> str:
        return f"{self.what} -> {self.mend}" if self.mend else self.what

    def is_aside(self) -> bool:
        """Tell whether the drop is set aside: the fault came twice, and is the drop's."""
        return self.times >= 2 and self.others_went


class ShopState(Record):
    """The shop at one moment, as `keyturn status` and the board show it.

    The lists hold the first rows only; the totals count all. `hook_faults` say how hooks failed at their last run.
    `aside` are the drops with a fault of their own, which the others do not wait for. `settings_fault` says what is
    wrong with settings or rules that were to be read again: the old ones are in force. `removal_waits` says why
    nothing old is removed from archive and rejects for now. `out_of_date` says why the rest
    may be old, where the running service does not write it. `places` and `jobs` say how far each job has come; a shop
    in which nobody says so has none. `fleets` are the drops of which each row of a table is a job.
    """

    at: str
    running: bool
    pid: int | None = None
    paused: str | None = None
    settings_fault: str | None = None
    removal_waits: str | None = None
    out_of_date: str | None = None
    hook_faults: tuple[str, ...] = ()
    aside: tuple[AsideDrop, ...] = ()
    watching: str = ""
    waiting: tuple[Waiting, ...] = ()
    working: tuple[Working, ...] = ()
    ready: tuple[Ready, ...] = ()
    refused: tuple[RefusedDrop, ...] = ()
    jobs: tuple[PlacedJob, ...] = ()
    places: PlaceCounts | None = None
    fleets: tuple[FleetCount, ...] = ()
    waiting_total: int = 0
    ready_total: int = 0
    refused_total: int = 0
