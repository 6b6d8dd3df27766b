"""A bad drop beside good ones: the good ones are published, and the service stays alive and is not paused.

The service runs in a process of its own that obeys the modes of files, also where the tests run as root: without
CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH root reads only what its modes allow (capabilities(7)).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.outbox import shop_state
from keyturn.shop.folders import Shop
from samples import PATIENCE_S, Drop
from shop_runs import lay, rejected, revisions

SERVE = """
import sys, threading, time
from pathlib import Path
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.workers.crew import InlineCrew
shop, good, bad = Shop(Path(sys.argv[1])), int(sys.argv[2]), sys.argv[3]

def done():
    state = service.state()
    aside = [a.name for a in state.aside] + [w.name for w in state.waiting if "set aside" in w.note]
    aside += [w.name for w in state.waiting if "cannot be" in w.note]
    return state.ready_total >= good and not state.paused and (bad in aside or not bad or state.refused_total)

shop.board.unlink(missing_ok=True)
service = Service(shop, crew_of=lambda settings, rules: InlineCrew())
thread = threading.Thread(target=service.run, daemon=True)
thread.start()
end = time.monotonic() + float(sys.argv[4])
while thread.is_alive() and not (shop.board.exists() and done()) and time.monotonic() < end:
    time.sleep(0.1)
assert thread.is_alive(), "the service ended"
print(service.state().model_dump_json(exclude={"ready"}))
ok = done()
service.stop()
thread.join(60)
sys.exit(0 if ok else 1)
"""
"""The service, until all the good drops are ready and the bad one has found its place."""


def closed(name: str) -> Callable[[Path], None]:
    return lambda drop: (drop / name).chmod(0)


def unused_note(drop: Path) -> None:
    (drop / "note.txt").write_text("for Ines alone")
    (drop / "note.txt").chmod(0)


def closed_folder(drop: Path) -> None:
    (drop / "lamps").chmod(0)


def closed_zip(drop: Path) -> None:
    archive = shutil.make_archive(str(drop.parent / "packed"), "zip", drop)
    shutil.rmtree(drop)
    drop.mkdir()
    Path(archive).rename(drop / "bad.zip")
    (drop / "bad.zip").chmod(0)


def page_is_a_folder(name: str) -> Callable[[Path], None]:
    def make(drop: Path) -> None:
        (drop / name).mkdir()
        (drop / name / "mine.txt").write_text("mine")
        (drop / "job.toml").write_text("customer = 7")

    return make


def path_too_long(drop: Path) -> None:
    """path_resolution(7): PATH_MAX is 4,096 bytes. What is deeper is reached by the descriptors of folders."""
    here = os.open(drop, os.O_RDONLY)
    for _ in range(20):
        os.mkdir("d" * 250, dir_fd=here)
        below = os.open("d" * 250, os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = below
    os.close(here)


def path_too_long_in_work(drop: Path) -> None:
    """Short enough in the inbox. In work the path to the drop is longer."""
    here, at, length = os.open(drop, os.O_RDONLY), "", len(str(drop)) - len("drawn") + len("shop/inbox")
    while length + 1 < 4090:
        name = "d" * min(200, 4090 - length - 1)
        os.mkdir(name, dir_fd=here)
        below = os.open(name, os.O_RDONLY, dir_fd=here)
        os.close(here)
        here, at, length = below, f"{at}/{name}", length + 1 + len(name)
    os.close(here)


def sparse(name: str) -> Callable[[Path], None]:
    def make(drop: Path) -> None:
        with (drop / name).open("wb") as file:
            file.truncate(2**40)

    return make


HOSTILE: dict[str, tuple[Callable[[Path], None], str]] = {
    "a picture it may not read": (closed("lamps/0002.png"), "chmod o+r "),
    "a manifest it may not read": (closed("job.toml"), "chmod o+r "),
    "a note it may not read": (unused_note, "chmod o+r "),
    "a zip it may not read": (closed_zip, "chmod o+r "),
    "a folder it may not read": (closed_folder, "the right to read"),
    "a folder REJECTED.html": (page_is_a_folder("REJECTED.html"), ""),
    "a folder REJECTED.txt": (page_is_a_folder("REJECTED.txt"), ""),
    "a folder REJECTED.json": (page_is_a_folder("REJECTED.json"), ""),
    "a path over 4,096 bytes": (path_too_long, "fewer and shorter folder names"),
    "a path over 4,096 bytes in work": (path_too_long_in_work, "fewer and shorter folder names"),
    "a sparse picture of 1 TiB": (sparse("lamps/0002.png"), ""),
    "a sparse manifest of 1 TiB": (sparse("job.toml"), ""),
    "a sparse zip of 1 TiB": (sparse("art.zip"), ""),
}
"""How a drop is spoilt, and what its note says; empty where it is refused."""


def serve(shop: Shop, good: int, bad: str, before: str = "true") -> subprocess.CompletedProcess[str]:
    """Run a service that obeys the modes of files. The shell runs `before` first, in mounts of its own."""
    python = [sys.executable, "-c", SERVE, str(shop.root), str(good), bad, str(PATIENCE_S)]
    if os.geteuid() == 0:
        python = ["setpriv", "--bounding-set=-dac_override,-dac_read_search", *python]
        python = ["unshare", "-m", "sh", "-ec", f'{before}; exec "$@"', "sh", *python]
    return subprocess.run(python, capture_output=True, text=True, timeout=300)


def lay_good(drop: Drop, shop: Shop, good: int) -> None:
    for number in range(good):
        lay(drop(f"van-{number:02d}", frames=1), shop)


def move_in(bad: Path, shop: Shop) -> None:
    bad.rename(shop.inbox / bad.name)


@pytest.mark.system
@pytest.mark.parametrize("good", [2, pytest.param(20, marks=pytest.mark.slow)])
@pytest.mark.parametrize("kind", list(HOSTILE))
def test_the_good_drops_beside_a_bad_one_are_published(
    shop: Shop, drop: Drop, needs: Callable[[str], str], kind: str, good: int
) -> None:
    needs("setpriv")
    spoil, note = HOSTILE[kind]
    bad = drop("bad", frames=3)
    spoil(bad)
    move_in(bad, shop)
    lay_good(drop, shop, good)
    ran = serve(shop, good, "bad")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert len(revisions(shop)) == good + ("page" in kind)
    if note:
        assert note in ran.stdout
        assert rejected(shop) == []
    else:
        assert rejected(shop) == ["bad"]
        assert {"REJECTED.html", "REJECTED.txt", "REJECTED.json"} <= {
            p.name for p in (shop.rejects / "bad").iterdir() if p.is_file()
        }


@pytest.mark.system
@pytest.mark.skipif(os.geteuid() != 0, reason="only root can mount")
@pytest.mark.parametrize("good", [2, pytest.param(20, marks=pytest.mark.slow)])
@pytest.mark.parametrize("place", ["bad", "bad/lamps"])
def test_a_mount_point_in_the_inbox_stops_no_other_drop(
    shop: Shop, drop: Drop, needs: Callable[[str], str], place: str, good: int
) -> None:
    needs("unshare")
    move_in(drop("bad", frames=3), shop)
    lay_good(drop, shop, good)
    mounted = shop.inbox / place
    fill = f"touch {mounted}/0001.png; printf x > {mounted}/job.toml"
    ran = serve(shop, good, "bad", f"mount -t tmpfs tmpfs {mounted}; {fill}")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert len(revisions(shop)) >= good


@pytest.mark.system
@pytest.mark.skipif(os.geteuid() != 0, reason="only root can mount")
def test_a_sparse_file_of_a_tebibyte_is_not_copied_from_another_mount(
    shop: Shop, drop: Drop, tmp_path: Path, needs: Callable[[str], str]
) -> None:
    """A tmpfs takes a sparse file of any size. The copy would not be sparse."""
    needs("unshare")
    lay_good(drop, shop, 2)
    outside = tmp_path / "outside"
    shutil.move(shop.inbox, outside)
    shop.inbox.mkdir()
    fill = f"cp -a {outside}/. {shop.inbox}; mkdir {shop.inbox}/bad; truncate -s 1T {shop.inbox}/bad/art.zip"
    ran = serve(shop, 2, "bad", f"mount -t tmpfs tmpfs {shop.inbox}; {fill}")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "free some space" in ran.stdout
    assert len(revisions(shop)) == 2


@pytest.mark.system
def test_a_restart_remembers_what_was_set_aside_and_status_says_how_to_mend_it(
    shop: Shop, drop: Drop, needs: Callable[[str], str]
) -> None:
    needs("setpriv")
    bad = drop("bad", frames=3)
    (bad / "lamps" / "0002.png").chmod(0)
    move_in(bad, shop)
    assert serve(shop, 0, "bad").returncode == 0
    (aside,) = shop_state.current_state(shop).aside
    assert (aside.name, aside.what) == ("bad", "the service may not read lamps/0002.png")
    assert aside.mend == f"chmod o+r {shop.root / aside.place}/lamps/0002.png"
    again = serve(shop, 0, "bad")
    assert again.returncode == 0, again.stdout + again.stderr
    assert [a.times for a in shop_state.current_state(shop).aside] == [aside.times]
