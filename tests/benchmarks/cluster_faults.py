"""What a cluster's faults cost: a real service makes drops on it undisturbed, while a worker is killed, and while the
scheduler is started anew."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import grown
from cluster_processes import ClusterProcesses, a_cluster
from grown import until

from keyturn.shop.folders import Shop

SETTINGS = "scan_seconds = 0.2\n[settle]\nseconds = 0.05\nclosed_seconds = 0.05\ndoubt_seconds = []\n"
SETTINGS += "[keep]\nframes_gib = 0\n"

FAULTS: dict[str, Callable[[ClusterProcesses], None]] = {
    "none": lambda cluster: None,
    "a worker is killed": ClusterProcesses.kill_a_worker,
    "the scheduler is killed and started anew, and its workers": ClusterProcesses.start_anew,
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """Seconds from the first drop's arrival to the last one's publication, and what lies where then.

    `zips` are the digests of all animations by revision; `over` are drops anywhere else.
    """

    seconds: float
    zips: dict[str, str]
    over: int


def outcome(folder: Path, drops: int, frames: int, fault: Callable[[ClusterProcesses], None]) -> Outcome:
    """Make drops on two workers, after one that does not count. The fault comes when a quarter of them is published."""
    shop = grown.opened(folder / "shop")
    pictures = grown.drawn(folder.parent / "pictures", frames)
    with a_cluster(folder, 2) as cluster:
        (shop.root / "keyturn.toml").write_text(f'crew = "{cluster.address}"\n{SETTINGS}')
        with grown.service(shop):
            grown.lay(shop.root / "laying", pictures, grown.manifest()).rename(shop.inbox / "first")
            until(lambda: len(_revisions(shop, "first")) == 1)  # everything runs, and has been read from the disk
            laid = [grown.lay(shop.root / f"laying-{n}", pictures, grown.manifest()) for n in range(drops)]
            start = time.monotonic()
            for number, drop in enumerate(laid):
                drop.rename(shop.inbox / f"van-{number:02d}")
            until(lambda: len(_revisions(shop)) >= drops // 4)
            fault(cluster)
            until(lambda: len(_revisions(shop)) + len(list(shop.rejects.iterdir())) >= drops)
            seconds = time.monotonic() - start
            until(lambda: not any(shop.inbox.iterdir()))
            time.sleep(1)  # whatever would be made twice comes now
    zips = {r.name: hashlib.sha256((r / "usb/bootanimation.zip").read_bytes()).hexdigest() for r in _revisions(shop)}
    return Outcome(seconds, zips, len(list(shop.rejects.iterdir())) + len(list(shop.inbox.iterdir())))


def _revisions(shop: Shop, drop: str = "van-*") -> list[Path]:
    return sorted(shop.outbox.glob(f"*/{drop}-r[0-9]*"))


def told(folder: Path, drops: int, frames: int) -> None:
    """Print a row for each fault. Raise AssertionError where a drop is lost, made twice or made otherwise."""
    print(
        f"\n| {drops} drops of {frames} frames on two workers; fault after a quarter | s | times | made once ", end=""
    )
    print("| lost | made twice | other bytes |\n|---|---:|---:|---:|---:|---:|---:|")
    undisturbed: Outcome | None = None
    for number, (fault, happens) in enumerate(FAULTS.items()):
        found = outcome(folder / str(number), drops, frames, happens)
        undisturbed = undisturbed or found
        once = {f"van-{n:02d}-r1" for n in range(drops)}
        lost, twice = once - set(found.zips), set(found.zips) - once
        other = [name for name in once & set(found.zips) if found.zips[name] != undisturbed.zips.get(name)]
        cells = (found.seconds / undisturbed.seconds, len(once) - len(lost), len(lost), len(twice), len(other))
        print(
            f"| {fault} | {found.seconds:.1f} | {cells[0]:.2f} | " + " | ".join(map(str, cells[1:])) + " |", flush=True
        )
        assert not (lost or twice or other or found.over), f"{fault}: {lost=} {twice=} {other=} {found.over=}"
