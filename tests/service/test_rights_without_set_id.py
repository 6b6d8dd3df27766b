"""The service's whole way where no mode with the set-gid bit may be set, as its unit has it: the same rights come out.

Source of what is expected: systemd.exec(5), RestrictSUIDSGID=; inode(7) and mkdir(2), by which a folder made in a
set-gid folder has the bit too. With the same calls allowed, the same is expected.
"""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import set_id_refused
from keyturn.outbox import published_digests
from keyturn.shop import slips
from keyturn.shop.folders import Shop
from keyturn.shop.slips import Slip
from samples import Drop, Run, with_rows

GOOD = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n'
BAD = 'customer = "Fern Hollow Mobile Library"\nradio = "nobody-knows"\n'
FLEET = 'each = "fleet.csv"\nradio = "tiny"\neach_good = true\n'
SHARED, KEPT, BUILDING = 0o2770, 0o2750, 0o2700

Serve = Callable[[str], None]
pytestmark = pytest.mark.system


@pytest.fixture(params=["refused", "free"])
def serve(shop: Shop, request: pytest.FixtureRequest) -> Serve:
    """Serve the shop in a process of its own until it is quiet, or send its drops back."""

    def call(what: str) -> None:
        command = [sys.executable, set_id_refused.__file__, what, str(shop.root), request.param]
        path = os.pathsep.join(filter(None, sys.path))
        ended = subprocess.run(command, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": path})
        if ended.returncode == set_id_refused.SKIPPED:
            pytest.skip("libseccomp is not installed")
        assert ended.returncode == 0, ended.stderr

    return call


def put_in(root: Path, shop: Shop) -> None:
    """Copy a drop to the inbox as an artist does: cp(1) leaves the bit that mkdir(2) gives."""
    subprocess.run(["cp", "-r", root, shop.inbox], check=True, umask=0o007)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def modes(*tops: Path) -> tuple[set[int], set[int]]:
    """The modes of the folders `tops` and of all folders in them, and those of the files."""
    paths = [path for top in tops for path in (top, *top.rglob("*"))]
    return {mode(path) for path in paths if path.is_dir()}, {mode(path) for path in paths if path.is_file()}


def an_answer(revision: Path) -> bytes:
    job = json.loads((revision / "job.json").read_text(encoding="utf-8"))
    slip = Slip.model_validate(
        {name: job[name] for name in ("customer", "job", "revision")}
        | {"kind": "answer", "id": "0f8a7c52-1b", "by": "Marta Lindqvist", "answer": "yes"}
        | {"at": "2026-03-01T09:30:00+00:00", "path": f"{revision.parent.name}/{revision.name}"}
        | {"digest": published_digests.digest_of(revision)}
    )
    return f"{slips.as_line(slip)}\n".encode()


def customers(folder: Path) -> list[Path]:
    return [path for path in folder.iterdir() if path.is_dir() and not path.name.startswith(".")]


def test_the_group_gets_what_it_needs_on_the_whole_way(shop: Shop, drop: Drop, serve: Serve, run: Run) -> None:
    put_in(drop("van", frames=2, manifest=GOOD), shop)
    put_in(drop("bad", frames=2, manifest=BAD), shop)
    fleet = with_rows(drop("vans", frames=2, manifest=FLEET), "customer;job;radio", "Fern;one;", "Fern;two;tinny")
    put_in(fleet, shop)
    (shop.inbox / "ferry.zip").write_bytes(b"no zip")
    (shop.inbox / "ferry.zip").chmod(0o660)
    serve("serve")
    refused = [shop.rejects / name for name in ("bad", "ferry", "vans")]
    assert modes(*refused) == ({SHARED}, {0o660}), "the artists' to mend"
    assert mode(shop.building) == BUILDING

    (shop.rejects / "bad" / "job.toml").write_text(GOOD)
    assert run("retry", "bad", "--root", shop.root) == 0
    revision = shop.outbox / "fern-hollow-mobile-library" / "van-r1"
    (shop.inbox / "answer.txt").write_bytes(an_answer(revision))
    serve("serve")
    assert {path.name for path in customers(shop.outbox)} == {"fern", "fern-hollow-mobile-library"}
    assert (revision.with_name("bad-r1") / "job.json").is_file() and (revision / "answer.json").is_file()
    assert modes(*customers(shop.outbox)) == ({KEPT}, {0o640}), "the group reads, the service alone writes"
    assert mode(shop.board) == 0o640
    assert {mode(path) for path in customers(shop.archive)} == {KEPT}
    (answer,) = shop.archive.glob("*/*/answer.txt")
    assert mode(answer.parent) == KEPT


def test_what_is_sent_back_from_another_mount_is_the_artists_to_change(shop: Shop, drop: Drop, serve: Serve) -> None:
    put_in(drop("van", frames=2), shop)
    serve("send-back")
    assert modes(shop.inbox / "van") == ({SHARED}, {0o660})
