"""Uploads of one drop by real programs, with a stall in the middle: Samba and its clients, rsync, sftp, scp, cp.

`python tests/faults/uploads.py --uploads 200 --at-once 40` runs many against one service with the settings that ship,
prints how each ended, and ends with 1 where any was not made, was refused or was made twice. Needs root (smbd does).
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import numpy as np
from PIL import Image

TESTS = Path(__file__).parents[1]
sys.path.insert(0, str(TESTS))

from faults.live import running  # noqa: E402
from faults.scenarios import shop_in  # noqa: E402
from keyturn.shop.folders import Shop  # noqa: E402
from samples import PATIENCE_S, until  # noqa: E402

README = (TESTS.parent / "README.md").read_text(encoding="utf-8")
FRAMES = 4
MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\njob = "{}"\n'
SFTP_SERVER = "/usr/lib/openssh/sftp-server"
QUICK = "scan_seconds = 0.2\nworkers = 1\n[settle]\nseconds = 1\nclosed_seconds = 0.4\ndoubt_seconds = [2, 4]\n"


def draw(folder: Path) -> Path:
    """A drop of four pictures; the second, of noise, is large enough to be sent in pieces."""
    (folder / "lamps").mkdir(parents=True)
    rows = np.linspace(60, 90, 64, dtype=np.uint8)[:, None, None]
    calm = np.broadcast_to(rows, (64, 48, 3))
    noise = np.random.default_rng(1).integers(70, 74, (640, 480, 3), dtype=np.uint8)
    for number in range(1, FRAMES + 1):
        Image.fromarray(noise if number == 2 else calm).save(folder / "lamps" / f"{number}.png")
    (folder / "job.toml").write_text(MANIFEST.format(folder.name))
    return folder


def readme_share() -> str:
    """The section of smb.conf that README prints."""
    found = re.search(r"```ini\n(\[inbox\].*?)```", README, re.DOTALL)
    assert found, "README has no share"
    return found[1]


@contextmanager
def samba(shop: Shop) -> Iterator[int]:
    """A Samba server on loopback that shares the inbox as README says; its port.

    Its own folders have a short path: that of a socket has at most 107 bytes (unix(7)).
    """
    with tempfile.TemporaryDirectory(prefix="smb-") as scratch, _samba(shop, Path(scratch)) as port:
        yield port


@contextmanager
def _samba(shop: Shop, scratch: Path) -> Iterator[int]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    share = (
        readme_share()
        .replace("/srv/keyturn", str(shop.root))
        .replace("@keyturn", "root")
        .replace("= keyturn", "= root")
    )
    places = ("private dir", "lock directory", "state directory", "cache directory", "pid directory", "ncalrpc dir")
    lines = ["[global]", "map to guest = bad user", "guest account = root", "server role = standalone server"]
    lines += ["interfaces = lo", "bind interfaces only = yes", "disable spoolss = yes", "load printers = no"]
    lines += [f"{place} = {scratch / place.replace(' ', '-')}" for place in places]
    for place in places:
        (scratch / place.replace(" ", "-")).mkdir(parents=True)
    (scratch / "smb.conf").write_text("\n".join([*lines, share, "guest ok = yes", ""]))
    command = ["smbd", "--foreground", "--no-process-group", f"--port={port}", f"--configfile={scratch}/smb.conf"]
    with (scratch / "smbd.log").open("wb") as log:
        server = subprocess.Popen(
            [*command, f"--log-basename={scratch}"], stdout=log, stderr=log, start_new_session=True
        )
    try:
        until(lambda: _answers(port))
        yield port
    finally:
        server.terminate()
        server.wait(PATIENCE_S)


def _answers(port: int) -> bool:
    with socket.socket() as asked:
        return asked.connect_ex(("127.0.0.1", port)) == 0


@dataclass
class Upload:
    """One drop on its way: `source` is what the artist has, `stall_s` how long the way stands still."""

    source: Path
    inbox: Path
    port: int
    stall_s: float
    fifo: Path = field(init=False)

    def __post_init__(self) -> None:
        self.fifo = self.source.parent / f"{self.source.name}.fifo"
        os.mkfifo(self.fifo)

    @property
    def name(self) -> str:
        return self.source.name

    def client(self, *commands: str) -> subprocess.Popen[bytes]:
        """Let a client do this, on one connection, from its start to its end."""
        command = ["smbclient", "-N", "-p", str(self.port), "//127.0.0.1/inbox", "-c", ";".join(commands)]
        return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def says(self, *commands: str) -> None:
        self.client(*commands).wait(PATIENCE_S)

    def begin(self, *, pictures: int = FRAMES) -> list[str]:
        here, there = self.source, self.name
        made = [f"mkdir {there}", f"put {here}/job.toml {there}/job.toml", f"mkdir {there}/lamps"]
        return made + [f"put {here}/lamps/{n}.png {there}/lamps/{n}.png" for n in range(1, pictures + 1)]

    def feed(self, data: bytes) -> None:
        """Give whoever reads the pipe half of the data, stand still, and give the rest."""
        with self.pipe() as pipe:
            pipe.write(data[: len(data) // 2])
            pipe.flush()
            time.sleep(self.stall_s)
            pipe.write(data[len(data) // 2 :])

    def pipe(self) -> IO[bytes]:
        """Open the pipe for writing once somebody reads it (fifo(7): ENXIO until then)."""
        opened: list[int] = []

        def read() -> bool:
            try:
                opened.append(os.open(self.fifo, os.O_WRONLY | os.O_NONBLOCK))
            except OSError:
                return False
            return True

        until(read)
        os.set_blocking(opened[0], True)
        return os.fdopen(opened[0], "wb")

    def picture(self, number: int) -> bytes:
        return (self.source / "lamps" / f"{number}.png").read_bytes()

    def stopped(self, *command: str | Path) -> None:
        """Run a program that copies, and let it stand still in the middle."""
        program = subprocess.Popen([*map(str, command)], stdout=subprocess.DEVNULL, start_new_session=True)
        time.sleep(0.3)
        for number in (signal.SIGSTOP, signal.SIGCONT):
            if program.poll() is None:
                os.killpg(program.pid, number)
            if number == signal.SIGSTOP and program.poll() is None:
                time.sleep(self.stall_s)
        assert program.wait(PATIENCE_S) == 0, command


def smb_stalls(up: Upload, at: str = "lamps/2.png") -> None:
    rest = [f"put {up.source}/lamps/{n}.png {up.name}/lamps/{n}.png" for n in (3, 4)]
    client = up.client(*up.begin(pictures=1), f"put {up.fifo} {up.name}/{at}", *rest)
    up.feed(up.picture(2))
    client.wait(PATIENCE_S)


def smb_stalls_at_an_empty_file(up: Upload) -> None:
    """A small file is sent when it is whole: the server has it open, and empty, until then."""
    client = up.client(*up.begin(pictures=3), f"put {up.fifo} {up.name}/lamps/4.png")
    up.feed(up.picture(4))
    client.wait(PATIENCE_S)


def smb_temporary_name(up: Upload) -> None:
    smb_stalls(up, at="lamps/2.png.part")
    up.says(f"rename {up.name}/lamps/2.png.part {up.name}/lamps/2.png")


def while_stalled(up: Upload, *commands: str) -> None:
    """A second client says something while the first one's upload stands still."""
    thread = threading.Thread(target=smb_stalls, args=(up,))
    thread.start()
    time.sleep(min(1.0, up.stall_s / 2))
    up.says(*commands)
    thread.join()


def smb_overwrites(up: Upload) -> None:
    while_stalled(up, f"put {up.source}/lamps/1.png {up.name}/lamps/1.png")


def smb_deletes(up: Upload) -> None:
    while_stalled(up, f"put {up.source}/lamps/1.png {up.name}/lamps/5.png", f"del {up.name}/lamps/5.png")


def smb_two_clients(up: Upload) -> None:
    while_stalled(
        up, f"put {up.source}/lamps/3.png {up.name}/lamps/3.png", f"put {up.source}/lamps/4.png {up.name}/lamps/4.png"
    )


def smb_companions(up: Upload) -> None:
    up.says(
        f"mkdir {up.name}",
        f"put {up.source}/job.toml {up.name}/._job.toml",
        f"put {up.source}/job.toml {up.name}/.DS_Store",
    )
    smb_stalls(up)


def smb_dies(up: Upload) -> None:
    """A client is killed in the middle of a file; later another one sends everything again."""
    client = up.client(*up.begin(pictures=1), f"put {up.fifo} {up.name}/lamps/2.png")
    with up.pipe() as pipe:
        pipe.write(up.picture(2)[:100])
        pipe.flush()
        client.kill()
        client.wait(PATIENCE_S)
    time.sleep(up.stall_s)
    up.says(*up.begin())


def rsync(up: Upload, *more: str) -> None:
    up.stopped("rsync", "-r", "--bwlimit=200", *more, up.source, f"{up.inbox}/")


def rsync_in_place(up: Upload) -> None:
    rsync(up, "--inplace")


def sftp(up: Upload) -> None:
    batch = up.fifo.with_suffix(".batch")
    batch.write_text(f"mkdir {up.inbox}/{up.name}\nput -r {up.source}/. {up.inbox}/{up.name}\n")
    up.stopped("sftp", "-q", "-D", SFTP_SERVER, "-l", "2000", "-b", batch)


def scp(up: Upload) -> None:
    up.stopped("scp", "-q", "-r", "-D", SFTP_SERVER, "-l", "2000", up.source, f"here:{up.inbox}/")


def cp_from_a_slow_source(up: Upload) -> None:
    target = up.inbox / up.name
    (target / "lamps").mkdir(parents=True)
    shutil.copy(up.source / "job.toml", target)
    shutil.copy(up.source / "lamps" / "1.png", target / "lamps")
    copying = subprocess.Popen(["cp", up.fifo, target / "lamps" / "2.png"])
    up.feed(up.picture(2))
    copying.wait()
    for number in (3, 4):
        shutil.copy(up.source / "lamps" / f"{number}.png", target / "lamps")


def browser(up: Upload) -> None:
    zipped = Path(shutil.make_archive(str(up.source), "zip", up.source)).read_bytes()
    half = up.inbox / f"{up.name}.zip.crdownload"
    with half.open("wb", buffering=0) as file:
        file.write(zipped[: len(zipped) // 2])
        time.sleep(up.stall_s)
        file.write(zipped[len(zipped) // 2 :])
    half.rename(up.inbox / f"{up.name}.zip")


def sync_program(up: Upload) -> None:
    (up.inbox / up.name / "lamps").mkdir(parents=True)
    for path in sorted(p for p in up.source.rglob("*") if p.is_file()):
        target = up.inbox / up.name / path.relative_to(up.source)
        half = target.with_name(f".syncthing.{target.name}.tmp")
        half.write_bytes(path.read_bytes()[:50])
        if path.name == "2.png":
            time.sleep(up.stall_s)
        half.write_bytes(path.read_bytes())
        half.rename(target)


WAYS: dict[str, Callable[[Upload], None]] = {
    way.__name__: way
    for way in (
        smb_stalls,
        smb_stalls_at_an_empty_file,
        smb_temporary_name,
        smb_overwrites,
        smb_deletes,
        smb_two_clients,
        smb_companions,
        smb_dies,
        rsync,
        rsync_in_place,
        sftp,
        scp,
        cp_from_a_slow_source,
        browser,
        sync_program,
    )
}
NAMES = ("{}", "ферн-{}", "ランプ-{}", "مصباح-{}")
"""Drops' names: in four scripts."""


def wrong(shop: Shop, names: list[str]) -> list[str]:
    """A line for each drop that did not end as it should: made once, with all its frames, and not refused."""
    made: Counter[str] = Counter()
    lines = []
    for path in shop.outbox.glob("[!.]*/*/job.json"):
        record = json.loads(path.read_text())
        made[record["drop"].removesuffix(".zip")] += 1
        frames = sum(part["frames"] for part in record["radios"][0]["parts"][:1])
        if frames != FRAMES:
            lines.append(f"{record['drop']}: made of {frames} frames")
    lines += [f"{path.name}: refused" for path in shop.rejects.iterdir()]
    lines += [f"{name}: made {made[name]} times" for name in names if made[name] != 1]
    return lines + [f"{path.name}: still in the inbox" for path in shop.inbox.iterdir()]


def ended(shop: Shop, names: list[str]) -> bool:
    """Is every upload made or refused, and nothing left?"""
    made = len(list(shop.outbox.glob("[!.]*/*/job.json"))) + len(list(shop.rejects.iterdir()))
    return made >= len(names) and not any(shop.inbox.iterdir()) and not any(shop.work.iterdir())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--uploads", type=int, default=200)
    parser.add_argument("--at-once", type=int, default=40)
    parser.add_argument("--longest", type=float, default=40.0, help="longest stall in seconds")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = random.Random(asked.seed)
    with tempfile.TemporaryDirectory(prefix="keyturn-uploads-") as folder:
        scratch = Path(folder)
        shop = shop_in(scratch / "shop")
        (shop.root / "keyturn.toml").write_text("workers = 1\n")
        names = [NAMES[n % len(NAMES)].format(f"{n:03d}") for n in range(asked.uploads)]
        ways = [list(WAYS)[n % len(WAYS)] for n in range(asked.uploads)]
        began = time.monotonic()
        with samba(shop) as port, running(shop):
            ups = [
                Upload(draw(scratch / "art" / name), shop.inbox, port, chance.uniform(0, asked.longest))
                for name in names
            ]
            with ThreadPoolExecutor(asked.at_once) as pool:
                list(pool.map(lambda pair: WAYS[pair[0]](pair[1]), zip(ways, ups, strict=True)))
            end = time.monotonic() + 600
            while not ended(shop, names) and time.monotonic() < end:
                time.sleep(0.5)
        faults = wrong(shop, names)
        stalls = sorted(up.stall_s for up in ups)
        print(f"{len(names)} uploads in {len(WAYS)} ways, stalls of {stalls[0]:.1f} to {stalls[-1]:.1f} s, ", end="")
        print(f"{time.monotonic() - began:.0f} s: {len(faults)} wrong")
        of = dict(zip(names, ways, strict=True))
        for line in faults:
            name = line.partition(":")[0]
            print(f"  {of.get(name, '?')}: {line}")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
