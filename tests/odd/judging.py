"""One odd file through the line's own work on it, within a worker, and what became of it."""

from __future__ import annotations

import io
import traceback
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from PIL import Image

from keyturn.flatten.frame_source import Source
from keyturn.normalize.fit import Fit
from keyturn.normalize.reading import stills
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.shop.reasons import Kind, Refused
from keyturn.shop.rulebook import Intake
from odd.marker import PANEL, Odd, seen

WAYS: tuple[tuple[Literal["cover", "contain"], bool], ...] = (("cover", False), ("contain", False), ("cover", True))
"""Fit, and whether the art lies on a backdrop: three ways through the line's code that must show the same."""


@dataclass(frozen=True, slots=True)
class Task:
    """`path` holds the odd file's bytes, `backdrop` a black picture: a worker writes none. `way` numbers WAYS."""

    odd: Odd
    path: Path
    backdrop: Path
    intake: Intake
    way: int = 0

    def frame(self, index: int | None) -> FrameJob:
        fit, laid = WAYS[0 if self.odd.margins else self.way % len(WAYS)]
        look = Look(fit=Fit(PANEL, fit), ground=(0, 0, 0), bits=24, format="png", cell_px=8, thumb_px=32)
        behind = (self.backdrop, "backdrop.png") if laid else None
        return FrameJob(Source(self.path, self.odd.name, index, backdrop=behind), look, self.intake)


@dataclass(frozen=True, slots=True)
class Outcome:
    """`what`: made, refused, wrong (made otherwise than wanted), crashed. `codes` are those of the reasons."""

    what: str
    codes: tuple[str, ...] = ()
    text: str = ""


def tried(task: Task) -> Outcome:
    """Never raises for the file's sake: a crash is an outcome, too."""
    try:
        return _tried(task)
    except Refused as refused:
        return _refused(refused)
    except Exception:
        return Outcome("crashed", text=traceback.format_exc(limit=-4))


def _refused(refused: Refused) -> Outcome:
    told = [r for r in refused.reasons if r.kind is Kind.REFUSE]
    if not told or not all(r.what and r.file for r in told):
        return Outcome("crashed", text="refused without saying why or which file")
    return Outcome("refused", tuple(r.code for r in told), told[0].line())


def _tried(task: Task) -> Outcome:
    odd = task.odd
    found = stills.probe(task.path, task.intake, name=odd.name)
    moves = found.frames > 1
    codes = {r.code for r in found.reasons}
    if moves != (len(odd.wanted) > 1) and odd.expect != "any":
        return Outcome("wrong", text=f"{found.frames} frames, not {len(odd.wanted)}")
    for number in range(found.frames):
        done = make_frame(task.frame(number if moves else None))
        codes |= {r.code for r in done.reasons}
        if fault := _fault(done.data, odd, number):
            return Outcome("wrong", tuple(sorted(codes)), f"frame {number}: {fault}")
    return Outcome("made", tuple(sorted(codes)))


def _fault(data: bytes, odd: Odd, number: int) -> str:
    """What is wrong with the file for the radio; empty where nothing is."""
    picture = Image.open(io.BytesIO(data))
    if picture.size != PANEL or picture.mode != "RGB":
        return f"{picture.mode} of {picture.size}"
    if odd.expect == "any":
        return ""
    got = seen(np.asarray(picture))
    apart = np.abs(got - odd.wanted[number]).max()
    if apart <= odd.apart:
        return ""
    row, col, _ = np.unravel_index(np.abs(got - odd.wanted[number]).argmax(), got.shape)
    return f"{apart:.0f} apart at {row},{col}: {got[row, col].round()} for {odd.wanted[number][row, col].round()}"
