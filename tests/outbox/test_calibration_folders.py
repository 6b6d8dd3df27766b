"""Where in the outbox that lies which films of a radio taught."""

from __future__ import annotations

from pathlib import Path

from keyturn.outbox import calibration_folders, published_digests
from keyturn.outbox.calibration_folders import RECORD, folders, target_of
from keyturn.outbox.customer_folder import revision_names

CLAIM = "20260301T101112-a1b2c3-films"


def test_the_name_has_radio_and_time_and_never_looks_like_a_revision(tmp_path: Path) -> None:
    target = target_of(tmp_path, "Fern Hollow Mobile Library", "tiny", CLAIM)
    assert target == "fern-hollow-mobile-library/calibration-tiny-20260301T101112"
    (tmp_path / target).mkdir(parents=True)
    assert target_of(tmp_path, "Fern Hollow Mobile Library", "tiny", CLAIM) == f"{target}-a1b2c3"
    assert revision_names(tmp_path / "fern-hollow-mobile-library") == []


def test_folders_with_a_record_are_found_and_their_digests_noted(tmp_path: Path) -> None:
    outbox = tmp_path / "outbox"
    made = outbox / target_of(outbox, "Calibration", "tiny", CLAIM)
    made.mkdir(parents=True)
    (outbox / "calibration" / "calibration-without").mkdir()
    (made / RECORD).write_text("{}")
    assert list(folders(outbox)) == [made]
    assert list(folders(tmp_path / "none")) == []
    published_digests.adopt_all(tmp_path / "published", outbox)
    target = f"calibration/{made.name}"
    assert published_digests.recorded(tmp_path / "published", target) == published_digests.digest_of(made)
    assert calibration_folders.PREFIX == "calibration-"
