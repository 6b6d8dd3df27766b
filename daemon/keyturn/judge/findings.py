"""What can be known of a made animation before it is in the car: flashes, memory, size, hand-off, timing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import handoff
from keyturn.eye.flash import FlashMeter, FlashReport
from keyturn.eye.luminance import Screen
from keyturn.radio import memory
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Reason, note, refuse
from keyturn.shop.records import FlashRecord, HandoffRecord, MemoryRecord, TimelineRecord
from keyturn.shop.rulebook import Flash, Safety

Cells = NDArray[np.uint16]

LOGO_STANDS_S = 2.0
"""How long the logo is taken to stand before frame 1; only that it is longer than a second matters."""


class CellStore:
    """Cells of every distinct frame, on disk: a job of thousands of frames costs no more memory than a short one."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._index: dict[str, int] = {}
        self._shape: tuple[int, ...] = ()
        self._file: BinaryIO = path.open("w+b")

    def __enter__(self) -> CellStore:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._file.close()
        self._path.unlink(missing_ok=True)

    def add(self, digest: str, cells: Cells) -> int:
        """The number of this picture; equal pictures share one."""
        if digest not in self._index:
            self._index[digest] = len(self._index)
            self._shape = cells.shape
            self._file.seek(0, 2)
            self._file.write(cells.tobytes())
        return self._index[digest]

    def number(self, digest: str) -> int:
        return self._index[digest]

    def __getitem__(self, number: int) -> Cells:
        size = int(np.prod(self._shape)) * 2
        self._file.seek(number * size)
        return np.frombuffer(self._file.read(size), dtype=np.uint16).reshape(self._shape)


@dataclass(frozen=True, slots=True)
class Shown:
    """`logo` and `parts[p][f]` number pictures in the cell store."""

    logo: int
    parts: tuple[tuple[int, ...], ...]


def flashes(plan: Plan, shown: Shown, cells: CellStore, rules: Flash) -> FlashReport:
    """The flash check over what the radio will show: the logo, every part in its plays, a loop across its seam."""
    meter = FlashMeter(Screen.of(plan.radio.panel, rules), rules)
    meter.show(cells[shown.logo], -LOGO_STANDS_S)
    previous = shown.logo
    for number, at_s in _pictures(plan, shown):
        if number != previous:
            meter.show(cells[number], at_s)
            previous = number
    return meter.report()


def _pictures(plan: Plan, shown: Shown) -> Iterator[tuple[int, float]]:
    """Picture numbers and when they appear, until every loop has gone round twice and a second more."""
    loop_s = max((_play_s(plan, p) for p, part in enumerate(plan.parts) if part.row.count == 0), default=0.0)
    until_s = plan.once_only_s + 2 * loop_s + 1.5
    for moment in plan.timeline(until_s + 3600).shown(until_s):
        if not moment.pausing:
            yield shown.parts[moment.part][moment.frame], moment.start_s


def _play_s(plan: Plan, part: int) -> float:
    planned = plan.parts[part]
    return len(planned.sources) * plan.pacing.interval_s + plan.pacing.pause_s(planned.row.pause)


def flash_record(report: FlashReport, rules: Flash) -> FlashRecord:
    return FlashRecord(
        passes=report.passes,
        general_max_per_s=report.general_max_per_s,
        red_max_per_s=report.red_max_per_s,
        most_per_s=rules.most_per_second,
        worst_at_s=report.worst_at_s,
        per_second=report.per_second,
    )


def flash_reasons(record: FlashRecord, rules: Flash) -> list[Reason]:
    if record.passes:
        return []
    finding = refuse if rules.on_failure == "refuse" else note
    kinds = [
        f"{count} {kind} flashes"
        for kind, count in (("general", record.general_max_per_s), ("red", record.red_max_per_s))
        if count > rules.most_per_second
    ]
    what = (
        f"{' and '.join(kinds)} within one second at {record.worst_at_s:.1f} s; "
        f"at most {rules.most_per_second} are allowed"
    )
    mend = "make the change slower, smaller or gentler there (WCAG 2.2, 2.3.1)"
    return [finding("flashes", what, mend)]


def memory_record(plan: Plan, cropped: memory.Cropped) -> MemoryRecord:
    limits = plan.radio.limits
    peak = memory.peak_mib(
        tuple(p.unit for p in plan.parts),
        plan.radio.panel.size,
        bytes_per_px=limits.texture_bytes,
        power_of_two=limits.texture_power_of_two,
        cropped=cropped,
    )
    return MemoryRecord(peak_mib=peak, allowed_mib=limits.texture_mib)


def memory_reasons(plan: Plan, cropped: memory.Cropped) -> list[Reason]:
    finding = memory.finding(plan.radio, tuple(p.unit for p in plan.parts), cropped)
    return [finding] if finding else []


def zip_reasons(plan: Plan, zip_bytes: int, fitting: int) -> list[Reason]:
    """The refusal where all that could be done was too little; `fitting`: how many frames there is room for."""
    radio, frames = plan.radio, plan.frame_count
    if zip_bytes <= radio.limits.zip_mib * 2**20:
        return []
    what = f"the animation is {zip_bytes / 2**20:.1f} MiB; {radio.name} takes {radio.limits.zip_mib:g} MiB"
    fewer = f"about {fitting} of its {frames} frames fit: thin = true under [motion] leaves out the others, evenly; or "
    return [refuse("zip-too-large", what, f"{fewer if fitting else ''}use fewer frames or calmer, flatter pictures")]


def logo_reasons(plan: Plan, logo_bytes: int) -> list[Reason]:
    radio = plan.radio
    if logo_bytes <= radio.logo.max_kib * 1024:
        return []
    what = f"the logo is {logo_bytes / 1024:,.0f} KiB; {radio.name} takes {radio.logo.max_kib:g} KiB"
    return [refuse("logo-too-large", what, "use a calmer, flatter picture")]


def timeline_record(plan: Plan, finish: float) -> TimelineRecord:
    shortest, usual, longest = plan.boot.spread
    once_s = plan.once_only_s
    return TimelineRecord(
        interval_s=plan.pacing.interval_s,
        once_only_s=once_s,
        share_finished=plan.share_finished,
        finish_wanted=finish,
        boot_shortest_s=shortest,
        boot_usual_s=usual,
        boot_longest_s=longest,
        boot_samples_s=plan.radio.boot.samples,
        hold_shortest_s=max(0.0, shortest - once_s),
        hold_usual_s=max(0.0, usual - once_s),
        hold_longest_s=max(0.0, longest - once_s),
        delay_s=_worst_delay(plan),
        on_screen_at_cut=_at_cut(plan, usual),
        alternatives=plan.alternatives,
    )


def _worst_delay(plan: Plan) -> float:
    """The longest time any start's home screen is held back; only parts of type c do so."""
    if all(p.row.type != "c" for p in plan.parts):
        return 0.0
    boots = (plan.boot.quantile(q) for q in np.linspace(0, 1, 41))
    return max(plan.timeline(float(boot_s)).delay_s for boot_s in boots)


def _at_cut(plan: Plan, boot_s: float) -> str:
    cut = plan.timeline(boot_s).cut
    part = plan.parts[cut.part]
    where = f"frame {cut.frame + 1} of {len(part.sources)} of {part.row.path}"
    return f"{where}, cut mid-motion" if cut.mid_motion else f"{where}, at rest"


def delay_reasons(plan: Plan, record: TimelineRecord, why: Sequence[str], safety: Safety) -> list[Reason]:
    if record.delay_s <= 0:
        return []
    camera = plan.radio.screen.shows_camera
    late = camera and record.delay_s > safety.holding.camera_seconds
    what = f"the home screen comes up to {record.delay_s:.1f} s late ({'; '.join(why)})"
    mend = "the reversing camera may be late as well: test it, and go back to stock if it is" if late else ""
    return [note("home-screen-delayed", what, mend)]


def handoff_reasons(record: HandoffRecord, logo_is_own: bool) -> list[Reason]:
    if record.share_changed == 0 or not logo_is_own:
        return []
    what = (
        f"frame 1 differs from the logo in {record.share_changed:.0%} of the pixels "
        f"(mean colour difference {record.mean_difference:.1f}): the change will be seen"
    )
    return [note("handoff-seen", what, "use frame 1 as the logo for an unseen hand-off")]


def hold_reasons(plan: Plan, numbers: Sequence[Sequence[int]]) -> list[Reason]:
    """Does the motion end in the picture that then holds? `numbers` are picture numbers of each part."""
    for before, (part, after) in zip(numbers, zip(plan.parts[1:], numbers[1:], strict=True), strict=False):
        if part.row.count == 0 and before[-1] != after[0]:
            what = f"the last picture before {part.row.path} is not the one that {part.row.path} begins with"
            return [note("hold-jumps", what, "end the motion in the picture that holds, for a seamless rest")]
    return []


def stumble_reasons(plan: Plan, changes: Sequence[Sequence[float]]) -> list[Reason]:
    """Frames that repeat the one before amid motion, or follow a gap; numbered as on the film strip."""
    found = []
    for part, moved in zip(plan.parts, changes, strict=True):
        odd = handoff.stumbles(moved[1:])
        for code, frames, what in (
            ("motion-stands", odd.doubled, "no change from the picture before, amid motion"),
            ("motion-jumps", odd.jumps, "a change far above its neighbours', as if a picture were missing"),
        ):
            if frames:
                shown = ", ".join(str(frame + 1) for frame in frames[:8]) + (" ..." if len(frames) > 8 else "")
                found.append(note(code, f"{part.row.path}, frame {shown}: {what}", "look at the film strip"))
    return found
