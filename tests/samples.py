"""What tests share by import: calm pictures told apart by number, and tasks for crews."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from PIL import Image

from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Refused, refuse

Drop = Callable[..., Path]
"""The fixture `drop`: makes a drop folder outside the shop."""

Run = Callable[..., int]
"""The fixture `run`: the exit code of a command line."""

EXAMPLES_SHARE = 1 if os.environ.get("CI") else 5
"""What pytest alone divides the large numbers of Hypothesis's examples by; .ci/run tries them all."""

PATIENCE_S = 120
"""Only a test that fails waits so long: a machine with much else to do makes a minute of a second."""


def with_rows(root: Path, *rows: str) -> Path:
    """Lay the table of a fleet into the drop `root`, its cells parted by semicolons; return the drop."""
    (root / "fleet.csv").write_text("".join(f"{row}\n" for row in rows), encoding="utf-8-sig")
    return root


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def examples(whole: int) -> int:
    """Return how many examples of `whole` Hypothesis tries in this run."""
    return whole // EXAMPLES_SHARE


def picture(size: tuple[int, int], number: int) -> Image.Image:
    """A calm picture that differs a little from its neighbours by number."""
    width, height = size
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[..., 0] = 40
    pixels[..., 1] = np.linspace(60, 90, width, dtype=np.uint8)
    pixels[..., 2] = 80
    row = number * 3 % max(1, height - 4)
    pixels[row : row + 4] = (90, 110, 100)
    return Image.fromarray(pixels)


def square(number: int) -> int:
    return number * number


_HOARD: list[bytes] = []


def hoard(mib: int) -> int:
    """Keep so many MiB for as long as the process lives; return its id."""
    _HOARD.append(b"x" * (mib * 2**20))
    return os.getpid()


def odd(number: int) -> int:
    """Refuses 3, dies on 5, hangs on 7 wants too much memory for 9, spins on 11 and
    writes a file for 12."""
    if number == 3:
        raise Refused([refuse("broken", "is broken", "mend it", file="3.png")])
    if number == 5:
        os._exit(9)
    if number == 7:
        time.sleep(60)
    if number == 11:
        while True:
            pass
    if number == 12:
        Path("/dev/shm/keyturn-test").write_bytes(b"x")
    if number == 9:
        bytearray(4 * 2**30)
    return number


def dies_then_hangs(sign: str) -> str:
    """Ends its worker the first time, and leaves an empty file `sign`; hangs the second time."""
    if not Path(sign).exists():
        Path(sign).touch()
        os._exit(9)
    Path(f"{sign}-again").touch()
    time.sleep(60)
    return sign


class Clock:
    """A monotonic clock that stands still until a test moves `at`, in seconds."""

    at = 1000.0

    def __call__(self) -> float:
        return self.at


@contextmanager
def as_user(number: int) -> Iterator[None]:
    """Within the block, this process is the user `number` and no longer root (seteuid(2))."""
    before = os.geteuid(), os.getegid(), os.getgroups()
    os.setgroups([])
    os.setegid(number)
    os.seteuid(number)
    try:
        yield
    finally:
        os.seteuid(before[0])
        os.setegid(before[1])
        os.setgroups(before[2])


@contextmanager
def open_folder() -> Iterator[Path]:
    """A temporary folder into which every user may look; pytest closes its own to all but one."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


def with_player(radio: Radio, **facts: object) -> Radio:
    """The radio with other facts of its player in its profile."""
    tables = radio.model_dump() | {"player": radio.player.as_table() | facts}
    return Radio.model_validate(tables)


def with_tables(radio: Radio, **tables: Mapping[str, object]) -> Radio:
    """The radio with other keys in some tables of its profile."""
    whole = radio.model_dump() | {"player": radio.player.as_table()}
    return Radio.model_validate(whole | {name: whole[name] | dict(keys) for name, keys in tables.items()})
