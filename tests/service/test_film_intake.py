"""Films in the inbox: learnt, published and archived like a job; without the right to the rules the command is said."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any

import pytest

from film_series import read_series, write_film
from keyturn.calibrate import film_profile, films
from keyturn.outbox import calibration_folders, published_digests
from keyturn.service.drop_folders import DropFolders
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.records import CalibrationRecord, Rejection
from page_text import text_of
from shop_runs import lay, rejected, revisions, run_until_quiet


@pytest.fixture(autouse=True)
def series(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(films, "read_film", read_series)


def film_drop(folder: Path, count: int = 2) -> Path:
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text('calibrate = "tiny"\n', encoding="utf-8")
    for n in range(count):
        write_film(folder / f"start{n}.mp4", n, boot_ms=12_930 + 700 * n)
    return folder


def published(shop: Shop) -> list[tuple[Path, CalibrationRecord]]:
    found = list(calibration_folders.folders(shop.outbox))
    return [
        (folder, CalibrationRecord.model_validate_json((folder / "calibration.json").read_bytes())) for folder in found
    ]


def samples(shop: Shop) -> tuple[float, ...]:
    return rulebook.load(shop.rules).radios["tiny"].boot.samples


def test_films_are_learnt_published_and_archived(shop: Shop, tmp_path: Path) -> None:
    drop = film_drop(tmp_path / "films")
    lay(drop, shop)
    service = run_until_quiet(shop)
    ((folder, record),) = published(shop)
    assert folder.parent.name == "calibration" and folder.name.startswith("calibration-tiny-")
    assert (record.radio, record.films, record.stored) == ("tiny", ("start0.mp4", "start1.mp4"), True)
    assert samples(shop) == pytest.approx((12.91, 13.61), abs=0.02)
    assert "What the films tell" in text_of((folder / "calibration.html").read_text(encoding="utf-8"))
    (kept,) = (shop.archive / "calibration").iterdir()
    assert {p.name: p.read_bytes() for p in kept.iterdir()} == {p.name: p.read_bytes() for p in drop.iterdir()}
    assert not list(shop.work.iterdir()) and not rejected(shop) and not revisions(shop)
    target = folder.relative_to(shop.outbox).as_posix()
    assert published_digests.recorded(shop.published, target) == published_digests.digest_of(folder)
    assert service._config.rules.radios["tiny"].boot.samples == samples(shop), "the service goes by the new rules"


def test_a_name_cannot_act_on_the_page(shop: Shop, tmp_path: Path) -> None:
    drop = film_drop(tmp_path / "films", 1)
    (drop / "start0.mp4").rename(drop / "<b>start.mp4")
    lay(drop, shop)
    run_until_quiet(shop)
    ((folder, record),) = published(shop)
    assert record.films == ("<b>start.mp4",)
    for name in ("calibration.html", "calibration.svg"):
        assert "<b>start" not in (folder / name).read_text(encoding="utf-8")


def test_the_same_films_again_are_a_page_of_their_own_and_count_once(shop: Shop, tmp_path: Path) -> None:
    drop = film_drop(tmp_path / "films")
    for name in ("films", "again"):
        lay(drop, shop, name)
        run_until_quiet(shop)
    assert len(published(shop)) == 2 and len(samples(shop)) == 2


def test_a_film_that_cannot_be_read_is_rejected_with_how_to_film_it_better(shop: Shop, tmp_path: Path) -> None:
    drop = film_drop(tmp_path / "films")
    broken = (drop / "start1.mp4").read_bytes()[:60]
    (drop / "start1.mp4").write_bytes(broken)
    lay(drop, shop)
    run_until_quiet(shop)
    (name,) = rejected(shop)
    rejection = Rejection.model_validate_json((shop.rejects / name / "REJECTED.json").read_bytes())
    (reason,) = rejection.reasons
    assert (reason.file, reason.mend) == ("start1.mp4", "prop the phone up")
    assert not samples(shop) and not published(shop)
    assert (shop.rejects / name / "start0.mp4").is_file()


@pytest.mark.parametrize("fault", [errno.EACCES, errno.EPERM, errno.EROFS])
def test_where_the_rules_may_not_be_written_page_and_log_say_what_to_run(
    fault: int, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(*args: Any, **named: Any) -> None:
        raise OSError(fault, "may not be written")

    monkeypatch.setattr(film_profile.profile, "write", forbidden)
    lay(film_drop(tmp_path / "films"), shop)
    run_until_quiet(shop)
    ((folder, record),) = published(shop)
    assert not record.stored and not samples(shop)
    (kept,) = (shop.archive / "calibration").iterdir()
    assert record.command == (f"keyturn calibrate tiny --film {kept}/start0.mp4 {kept}/start1.mp4 --root {shop.root}")
    assert record.command in text_of((folder / "calibration.html").read_text(encoding="utf-8"))


@pytest.mark.parametrize("where", ["storing", "publishing"])
def test_a_fault_of_the_disk_pauses_and_no_film_counts_twice(
    where: str, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner, name = (film_profile.profile, "write") if where == "storing" else (DropFolders, "publish")
    real, failures = getattr(owner, name), iter([True, True])

    def fails_twice(*args: Any, **named: Any) -> Any:
        if next(failures, False):
            raise OSError(errno.ENOSPC, "No space left on device", "x")
        return real(*args, **named)

    monkeypatch.setattr(owner, name, fails_twice)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_FIRST_S", 0.05)
    lay(film_drop(tmp_path / "films"), shop)
    run_until_quiet(shop)
    if not published(shop):
        run_until_quiet(shop)
    assert len(published(shop)) == 1 and len(samples(shop)) == 2
    assert not rejected(shop) and not list(shop.work.iterdir())
