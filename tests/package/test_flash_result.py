"""What the flash check says of made pictures: where it flashes, and a line of job.toml with which it does not."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from keyturn.commands import make_by_hand
from keyturn.pipeline import Bench
from keyturn.shop.reasons import Reason, Refused
from samples import Drop

HEAD = 'customer = "C"\nradio = "tiny"\n'
LOOP = '[[part]]\nart = "lamps/*"\nplays = "until-booted"\n'


def flashes(root: Path, bench: Bench) -> Reason | None:
    """Return the finding about a drop whose light goes on for each second pair of frames."""
    for number, path in enumerate(sorted(root.rglob("*.png"))):
        Image.new("RGB", (48, 64), (255 * (number // 2 % 2),) * 3).save(path)
    try:
        make_by_hand.check(root, bench)
    except Refused as refused:
        (reason,) = refused.reasons[:1]
        return reason
    return None


def test_the_finding_shows_two_frames_and_its_line_ends_it(drop: Drop, bench: Bench) -> None:
    """WCAG 2.2, 2.3.1: light and dark for two frames each at 30 fps are about 7 flashes a second; 3 are allowed."""
    told = flashes(drop(manifest=f"{HEAD}{LOOP}[motion]\nfps = 30\n", frames=8), bench)
    assert told is not None and told.code == "flashes"
    assert len(told.exhibits) == 2 and all(shown.marked == (0, 0, 1, 1) for shown in told.exhibits)
    where, line = told.mend.split("\n")
    assert where.endswith("write under [motion] in job.toml, instead of its fps:")
    assert flashes(drop("mended", manifest=f"{HEAD}{LOOP}[motion]\n{line}\n", frames=8), bench) is None
