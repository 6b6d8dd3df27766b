"""Records in the outbox and in rejects are read where they can be, and otherwise left alone."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from keyturn.outbox import record_files
from keyturn.shop.folders import Shop

FERN = "fern-hollow-mobile-library"


def test_a_file_in_place_of_the_customers_folder_holds_no_revisions(shop: Shop) -> None:
    (shop.outbox / FERN).write_bytes(b"")
    assert list(record_files.revisions(shop.outbox / FERN)) == []


def test_revisions_are_folders_with_a_record(published: Path) -> None:
    (published / "van-r3").mkdir()
    (published / "notes.txt").write_text("mine")
    (published / "other").mkdir()
    found = [(job, number, path.name) for job, number, path in record_files.revisions(published)]
    assert found == [("van", 1, "van-r1"), ("van", 2, "van-r2")]
    assert list(record_files.revisions(published / "gone")) == []


def test_a_record_of_a_later_keyturn_stays_readable(published: Path) -> None:
    path = published / "van-r1" / "job.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"colour_of_the_van": "green"}))
    record = record_files.read_job(published / "van-r1")
    assert record is not None and record.revision == 1


def test_a_missing_folder_has_no_record(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    for place in (tmp_path, tmp_path / "gone", tmp_path / "file"):
        assert record_files.read_job(place) is None
        assert record_files.read_rejection(place) is None
        assert record_files.read_proof(place).radios == ()


def test_a_record_of_very_many_errors_is_left_alone_at_once(tmp_path: Path) -> None:
    """With an error for each value this one would take over 300 MiB; Python may not have them here."""
    (tmp_path / "REJECTED.json").write_bytes(b'{"reasons": [' + b"{}," * 80_000 + b"{}]}")
    program = (
        "import resource, sys; from pathlib import Path; from keyturn.outbox import record_files;"
        "used = int(open('/proc/self/statm').read().split()[0]) * resource.getpagesize() + 100 * 2**20;"
        "resource.setrlimit(resource.RLIMIT_AS, (used, used));"
        "print(record_files.read_rejection(Path(sys.argv[1])))"
    )
    said = subprocess.run([sys.executable, "-c", program, tmp_path], capture_output=True, text=True, check=True)
    assert said.stdout == "None\n"
