"""Which faults are one drop's, and which the shop's."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from faults.live import running
from keyturn.service import set_aside
from keyturn.service.claims import Claim
from keyturn.service.set_aside import LOOK_EVERY_S, SetAside
from keyturn.shop.disk_look import DiskRoom
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import RadioFault, ShopFault, shop_fault
from samples import Drop, until
from shop_runs import lay, revisions, run_until_quiet, service_of

RETRY_S = 900.0
FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def claim_of(name: str, shop: Shop) -> Claim:
    """A drop in work, with a picture."""
    claim = Claim(id=f"20260301T093000-abc123-{name}", name=name, form="folder", claimed_at="2026-03-01T09:30:00+00:00")
    (shop.work / claim.id / "drop" / "lamps").mkdir(parents=True)
    (shop.work / claim.id / "drop" / "lamps" / "0001.png").write_bytes(b"png")
    return claim


def closed(claim: Claim, shop: Shop) -> OSError:
    path = shop.work / claim.id / "drop" / "lamps" / "0001.png"
    return OSError(errno.EACCES, os.strerror(errno.EACCES), str(path))


@pytest.fixture
def seconds() -> list[float]:
    """The time of day, to be changed by the test."""
    return [1000.0]


@pytest.fixture
def aside(shop: Shop, seconds: list[float]) -> SetAside:
    return SetAside(shop.work, lambda: "2026-03-01T09:30:00+00:00", lambda: seconds[0], lambda: RETRY_S)


def add(aside: SetAside, claim: Claim, error: OSError) -> bool:
    fault = shop_fault(error)
    assert fault is not None
    return aside.add(claim, error, fault)


def test_a_fault_of_one_radio_costs_its_own_drops_alone(aside: SetAside, shop: Shop, seconds: list[float]) -> None:
    van = claim_of("van", shop)
    fault = RadioFault("a stick cannot hold the files of dash", "mend its [stick]")
    assert aside.add(van, fault, fault), "the shop need not pause"
    assert aside.free([van]) == [van]
    assert aside.add(van, fault, fault)
    assert aside.free([van]) == [] and [drop.what for drop in aside.rows()] == [fault.what]
    seconds[0] += RETRY_S
    assert aside.free([van]) == [van]


def test_a_file_of_the_drop_pauses_nothing_and_the_second_time_the_drop_is_set_aside(
    aside: SetAside, shop: Shop
) -> None:
    van = claim_of("van", shop)
    assert add(aside, van, closed(van, shop))
    assert aside.free([van]) == [van] and aside.rows() == ()
    assert add(aside, van, closed(van, shop))
    assert aside.free([van]) == []
    (row,) = aside.rows()
    assert row.what == "the service may not read lamps/0001.png"
    assert row.mend == f"chmod o+r {shop.work / van.id}/drop/lamps/0001.png"


def test_a_picture_in_a_folder_that_may_not_be_entered_names_the_folder(
    aside: SetAside, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """stat(2): EACCES, search permission is denied for one of the directories in the path."""
    van = claim_of("van", shop)
    lamps = shop.work / van.id / "drop" / "lamps"
    for name in ("stat", "lstat"):
        real = getattr(os, name)

        def denied(path: str, *args: object, real: Callable[..., object] = real, **how: object) -> object:
            if Path(path).parent == lamps:
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
            return real(path, *args, **how)

        monkeypatch.setattr(os, name, denied)
    assert add(aside, van, closed(van, shop)) and add(aside, van, closed(van, shop))
    (row,) = aside.rows()
    assert row.what == "the service may not read lamps"
    assert row.mend == f"chmod o+rwx {lamps}"


def test_a_fault_of_an_open_folder_names_no_file_and_is_the_shop_s(aside: SetAside, shop: Shop) -> None:
    """os.scandir(descriptor) puts the descriptor's number into the error."""
    van = claim_of("van", shop)
    assert not add(aside, van, OSError(errno.EACCES, os.strerror(errno.EACCES), 5))


def test_a_fault_that_every_drop_has_is_the_shop_s(aside: SetAside, shop: Shop) -> None:
    van, bus = claim_of("van", shop), claim_of("bus", shop)
    assert [add(aside, claim, FULL) for claim in (van, bus, van, bus, van)] == [False] * 5
    assert aside.rows() == () and aside.free([van, bus]) == [bus, van]


def test_a_fault_that_comes_again_after_another_drop_went_through_is_the_drop_s(aside: SetAside, shop: Shop) -> None:
    van, bus = claim_of("van", shop), claim_of("bus", shop)
    assert not add(aside, van, FULL)
    assert not aside.has_a_turn(van) and aside.has_a_turn(bus)
    aside.went(bus, after_a_pause=True)
    assert aside.has_a_turn(van)
    assert add(aside, van, FULL)
    assert [row.name for row in aside.rows()] == ["van"]


def test_what_is_set_aside_is_tried_seldom(aside: SetAside, shop: Shop, seconds: list[float]) -> None:
    van = claim_of("van", shop)
    for _ in range(2):
        add(aside, van, closed(van, shop))
    seconds[0] += RETRY_S - 1
    assert aside.free([van]) == []
    seconds[0] += 1
    assert aside.free([van]) == [van]
    add(aside, van, closed(van, shop))
    assert aside.free([van]) == []


@pytest.mark.parametrize("how", ["mode", "content", "taken away"])
def test_a_change_of_its_files_frees_it(aside: SetAside, shop: Shop, seconds: list[float], how: str) -> None:
    van = claim_of("van", shop)
    for _ in range(2):
        add(aside, van, closed(van, shop))
    picture = shop.work / van.id / "drop" / "lamps" / "0001.png"
    if how == "mode":
        picture.chmod(0o604)
    elif how == "content":
        picture.write_bytes(b"another")
    else:
        picture.unlink()
    seconds[0] += LOOK_EVERY_S
    assert aside.free([van]) == [van]


def test_keyturn_s_own_files_in_the_drop_do_not_free_it(aside: SetAside, shop: Shop, seconds: list[float]) -> None:
    van = claim_of("van", shop)
    for _ in range(2):
        add(aside, van, closed(van, shop))
    for name in ("REJECTED.txt", ".keyturn-0123456789ab.tmp"):
        (shop.work / van.id / "drop" / name).write_text("ours")
    seconds[0] += LOOK_EVERY_S
    assert aside.free([van]) == []


def test_after_a_pause_of_the_whole_shop_what_met_its_fault_is_tried_at_once(aside: SetAside, shop: Shop) -> None:
    van, bus, tram = (claim_of(name, shop) for name in ("van", "bus", "tram"))
    add(aside, van, FULL)
    aside.went(bus, after_a_pause=False)
    for _ in range(2):
        add(aside, van, FULL)
        add(aside, tram, closed(tram, shop))
    assert aside.free([van, tram]) == []
    aside.went(bus, after_a_pause=True)
    assert aside.free([van, tram]) == [van]


def test_a_restart_remembers(aside: SetAside, shop: Shop, seconds: list[float]) -> None:
    van, bus = claim_of("van", shop), claim_of("bus", shop)
    for _ in range(2):
        add(aside, van, closed(van, shop))
    later = SetAside(shop.work, lambda: "", lambda: seconds[0], lambda: RETRY_S)
    later.renew([van, bus])
    assert later.rows() == aside.rows() and later.free([van, bus]) == [bus]
    later.renew([bus])
    assert later.rows() == ()


def test_a_note_that_is_spoilt_counts_as_none(aside: SetAside, shop: Shop) -> None:
    van = claim_of("van", shop)
    (shop.work / van.id / "aside.json").write_text("{")
    aside.renew([van])
    assert aside.free([van]) == [van] and aside.rows() == ()


def test_a_disk_that_is_full_is_not_a_file_s_fault(aside: SetAside, shop: Shop) -> None:
    """write(2): ENOSPC, also where the file that is being written lies in the drop."""
    van = claim_of("van", shop)
    full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(shop.work / van.id / "drop" / "REJECTED.html"))
    assert not aside.add(van, full, ShopFault("full"))


@pytest.mark.parametrize(
    ("then", "frees"),
    [
        (DiskRoom(True, 1_000_000, 500), False),
        (DiskRoom(True, 1_900_000, 900), False),
        (DiskRoom(True, 2_000_000, 500), True),
        (DiskRoom(True, 1_000_000, 1_000), True),
        (None, False),
    ],
)
def test_space_on_the_disk_frees_it(
    aside: SetAside,
    shop: Shop,
    seconds: list[float],
    monkeypatch: pytest.MonkeyPatch,
    then: DiskRoom | None,
    frees: bool,
) -> None:
    free: list[DiskRoom | None] = [DiskRoom(True, 1_000_000, 500)]
    monkeypatch.setattr(set_aside, "disk_room", lambda folder: free[-1])
    van, ferry = claim_of("van", shop), claim_of("ferry", shop)
    add(aside, van, FULL)
    aside.went(ferry, after_a_pause=False)
    assert add(aside, van, FULL)
    free.append(then)
    seconds[0] += LOOK_EVERY_S
    assert aside.free([van]) == ([van] if frees else [])


def test_space_frees_nothing_that_met_another_fault(
    aside: SetAside, shop: Shop, seconds: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    free = [DiskRoom(True, 1_000_000, 500)]
    monkeypatch.setattr(set_aside, "disk_room", lambda folder: free[-1])
    van = claim_of("van", shop)
    add(aside, van, closed(van, shop))
    add(aside, van, closed(van, shop))
    free.append(DiskRoom(True, 9_000_000, 5_000))
    seconds[0] += LOOK_EVERY_S
    assert aside.free([van]) == []


def test_a_disk_that_does_not_even_tell_what_is_there_breaks_nothing(
    aside: SetAside, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """stat(2): EIO, as a disk that dies gives it."""
    van, broken = claim_of("van", shop), OSError(errno.EIO, os.strerror(errno.EIO), str(shop.outbox / "a" / "b"))

    def dead(path: object, **options: object) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO), path)

    monkeypatch.setattr(os, "stat", dead)
    monkeypatch.setattr(os, "statvfs", dead)
    assert not add(aside, van, broken)


def larger_than_the_disk(monkeypatch: pytest.MonkeyPatch, names: set[str]) -> list[str]:
    """Makes the drops `names` fill the disk with their scratch. Return each name that is tried."""
    from keyturn import pipeline

    real, tried = pipeline.understand, []

    def understand(root: Path, name: str, scratch: Path, *args: object) -> object:
        tried.append(name)
        assert not list(scratch.parent.parent.glob("*/scratch/much"))
        if name in names:
            (scratch / "much").write_bytes(b"much")
            raise OSError(errno.ENOSPC, "No space left on device", str(scratch / "much"))
        return real(root, name, scratch, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(pipeline, "understand", understand)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_FIRST_S", 0.05)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_MOST_S", 0.05)
    return tried


def test_a_drop_larger_than_the_free_space_is_set_aside_and_gives_its_space_back(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = larger_than_the_disk(monkeypatch, {"bad"})
    for name in ("bad", "ferry", "van"):
        lay(drop(name, frames=1), shop)
    service = run_until_quiet(shop)
    assert len(revisions(shop)) == 2 and tried.count("bad") == 2
    (row,) = service.state().aside
    assert row.name == "bad" and "No space left" in row.what and "free some space" in row.mend
    assert service.state().paused is None
    assert list(shop.work.glob("*/scratch")) == []
    run_until_quiet(shop)
    assert tried.count("bad") == 2, "a restart remembers"


def test_a_start_gives_back_the_space_of_a_drop_that_is_set_aside(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    larger_than_the_disk(monkeypatch, {"bad"})
    for name in ("bad", "van"):
        lay(drop(name, frames=1), shop)
    run_until_quiet(shop)
    (place,) = shop.work.iterdir()
    (place / "scratch").mkdir()
    (place / "scratch" / "left").write_bytes(b"by a kill")
    run_until_quiet(shop)
    assert not (place / "scratch").exists()


def test_once_there_is_space_it_is_made(shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch) -> None:
    full = {"bad"}
    larger_than_the_disk(monkeypatch, full)
    for name in ("bad", "van"):
        lay(drop(name, frames=1), shop)
    run_until_quiet(shop)
    full.clear()
    with (shop.root / "keyturn.toml").open("r+") as file:
        rest = file.read()
        file.seek(0)
        file.write(f"retry_aside_minutes = 0.0001\n{rest}")
    service = service_of(shop)
    service.run(until_quiet=True)
    assert len(revisions(shop)) == 2 and service.state().aside == ()


def test_once_the_disk_has_more_space_it_is_made_soon(shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch) -> None:
    full, free = {"bad"}, [DiskRoom(True, 1_000_000, 500)]
    larger_than_the_disk(monkeypatch, full)
    monkeypatch.setattr(set_aside, "disk_room", lambda folder: free[-1])
    monkeypatch.setattr(set_aside, "LOOK_EVERY_S", 0.05)
    for name in ("bad", "van"):
        lay(drop(name, frames=1), shop)
    with running(shop) as service:
        until(lambda: [drop.name for drop in service.state().aside] == ["bad"])
        full.clear()
        free.append(DiskRoom(True, 2_000_000, 500))
        until(lambda: len(revisions(shop)) == 2)
        until(lambda: service.state().aside == ())


def test_a_file_in_the_place_of_a_customers_folder_stops_no_other_customer(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody saved a list under the customer's name. It is left as it is, and told."""
    monkeypatch.setattr("keyturn.service.backoff.RETRY_FIRST_S", 0.05)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_MOST_S", 0.05)
    (shop.outbox / "fern-hollow-mobile-library").write_text("a shopping list", encoding="utf-8")
    other = 'customer = "Moss & Mint Garden Nursery"\nradio = "tiny"\n'
    lay(drop("van", frames=1), shop)
    for name in ("gate", "shed"):
        lay(drop(name, frames=1, manifest=other), shop)
    service = run_until_quiet(shop)
    assert len(revisions(shop)) == 2
    assert (shop.outbox / "fern-hollow-mobile-library").read_text(encoding="utf-8") == "a shopping list"
    told = [row.what for row in service.state().aside] + [refused.name for refused in service.state().refused]
    assert told, "the drop is set aside or refused, with a reason"
