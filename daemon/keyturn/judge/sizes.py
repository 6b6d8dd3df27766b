"""What an animation weighs against the radio's limits: graphics memory while it plays, the zip, the logo."""

from __future__ import annotations

from keyturn.radio import memory
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Reason, refuse
from keyturn.shop.records import MemoryRecord
from keyturn.shop.units import MIB, readable_size


def memory_record(plan: Plan, cropped: memory.Frames) -> MemoryRecord:
    """Return the most graphics memory that the animation holds, and the radio's limit, in MiB."""
    peak = memory.peak_mib(tuple(p.played for p in plan.parts), plan.radio.panel.size, plan.radio, cropped)
    return MemoryRecord(peak_mib=peak, allowed_mib=plan.radio.limits.texture_mib)


def memory_reasons(plan: Plan, cropped: memory.Frames) -> list[Reason]:
    """Return the refusal where a part holds more graphics memory than the radio allows."""
    finding = memory.finding(plan.radio, tuple(p.played for p in plan.parts), cropped)
    return [finding] if finding else []


def zip_reasons(plan: Plan, zip_bytes: int, fitting: int) -> list[Reason]:
    """Return the refusal where the zip is too large even in its smallest form.

    `fitting` is the number of frames that there is room for, 0 where it is not known.
    """
    radio, frames = plan.radio, plan.frame_count
    if zip_bytes <= radio.limits.zip_mib * MIB:
        return []
    what = f"the animation is {readable_size(zip_bytes)}; {radio.name} takes {radio.limits.zip_mib:g} MiB"
    return [refuse("zip-too-large", what, _fewer(fitting, frames))]


def about_zip_reason(plan: Plan, zip_bytes: int, fitting: int, made: int) -> Reason:
    """Return the refusal where the first frames, `made` in number, show that the zip would be much too large."""
    takes = f"{plan.radio.name} takes {plan.radio.limits.zip_mib:g} MiB"
    what = f"the animation would be about {readable_size(zip_bytes)}, as {made} of its frames show; {takes}"
    return refuse("zip-too-large", what, _fewer(fitting, plan.frame_count))


def _fewer(fitting: int, frames: int) -> str:
    fewer = f"about {fitting} of its {frames} frames fit: thin = true under [motion] leaves out the others, evenly; or "
    return f"{fewer if fitting else ''}use fewer frames or calmer, flatter pictures"


def logo_reasons(plan: Plan, logo_bytes: int) -> list[Reason]:
    """Return the refusal where the logo's file is larger than the radio takes."""
    radio = plan.radio
    if logo_bytes <= radio.logo.max_kib * 1024:
        return []
    what = f"the logo is {logo_bytes / 1024:,.0f} KiB; {radio.name} takes {radio.logo.max_kib:g} KiB"
    return [refuse("logo-too-large", what, "use a calmer, flatter picture")]
