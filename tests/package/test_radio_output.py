"""One radio's output: the flash check is a stage of its own, and the stick holds what the profile asks for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.commands import make_by_hand
from keyturn.pipeline import Bench
from keyturn.shop.progress import Progress, Stopped
from keyturn.shop.reasons import Kind, Refused
from samples import Clock, Drop, picture, with_tables


def test_the_flash_check_is_a_stage_with_a_limit_and_can_be_stopped(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """Where cells cannot decide it counts pixels, which takes up to half a second a frame."""
    clock, stage = Clock(), [""]

    def tell(name: str, done: int, total: int) -> None:
        stage[0] = name

    def passing() -> bool:
        clock.at += 1000 if stage[0] == "judge" else 0
        return False

    slow = replace(bench, progress=Progress(tell, passing, clock))
    with pytest.raises(Refused) as caught:
        make_by_hand.check(drop(frames=12), slow)
    assert [r.code for r in caught.value.reasons if r.kind is Kind.REFUSE] == ["drop-takes-too-long"]
    stopped = replace(bench, progress=Progress(tell, lambda: stage[0] == "judge"))
    with pytest.raises(Stopped):
        make_by_hand.check(drop("boat", frames=12), stopped)


@pytest.mark.parametrize("panel_bits", [16, 24])
@pytest.mark.parametrize("bits", [16, 24])
def test_the_stick_holds_the_logo_as_the_bmp_that_the_profile_asks_for(
    drop: Drop, bench: Bench, tmp_path: Path, bits: int, panel_bits: int
) -> None:
    """Pillow reads it back. Of frame 1 it keeps what its bits hold, and its folder and name are the profile's."""
    root = drop(manifest='customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n')
    logo = {"formats": ["bmp"], "bmp_bits": bits, "bmp_rows": "top-down", "exact_bytes": 10_000}
    radio = with_tables(
        bench.rules.radios["tiny"], panel={"bits": panel_bits}, logo=logo, stick={"logo": "images/start.bmp"}
    )
    rules = bench.rules.model_copy(update={"radios": {"tiny": radio}})
    made = make_by_hand.make(root, tmp_path / "out", replace(bench, rules=rules))
    assert made.folder
    path = made.folder / "usb" / "images" / "start.bmp"
    assert path.stat().st_size == 10_000
    with Image.open(path) as shown:
        apart = np.abs(np.asarray(shown.convert("RGB")).astype(int) - np.asarray(picture((48, 64), 1)))
    assert apart.max() <= (0 if (bits, panel_bits) == (24, 24) else 9)
    handoff = made.made.record.radios[0].handoff
    assert (handoff.share_changed == 0) == (bits == panel_bits or panel_bits == 16)
