"""A fleet in a shop: one claim, a revision for each row, and the faulty rows as a drop of their own."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest

from keyturn import pipeline
from keyturn.pipeline import Job
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Refused, refuse
from samples import Drop
from shop_runs import lay, rejected, revisions, run_until_quiet

HEAD = 'each = "fleet.csv"\nradio = "tiny"\n'
ROWS = [["customer", "job", "radio"], ["Fern", "one", ""], ["Fern", "two", "tinny"], ["Ada", "one", "tiny"]]


def fleet(drop: Drop, manifest: str = HEAD, rows: list[list[str]] = ROWS) -> Path:
    root = drop("vans", frames=3, manifest=manifest)
    text = io.StringIO()
    csv.writer(text, delimiter=";").writerows(rows)
    (root / "fleet.csv").write_text(text.getvalue(), encoding="utf-16")
    return root


def records(shop: Shop) -> dict[str, dict[str, object]]:
    return {path: json.loads((shop.outbox / path / "job.json").read_bytes()) for path in revisions(shop)}


def test_right_rows_become_revisions_of_one_claim_and_the_drop_is_archived_once(shop: Shop, drop: Drop) -> None:
    lay(fleet(drop, rows=[ROWS[0], ROWS[1], ROWS[3]]), shop)
    run_until_quiet(shop)
    made = records(shop)
    assert {path: record["row"] for path, record in made.items()} == {"ada/one-r1": 3, "fern/one-r1": 2}
    assert len({record["claim"] for record in made.values()}) == 1
    assert {record["drop"] for record in made.values()} == {"vans"}
    (kept,) = shop.archive.glob("*/*")
    assert kept.name.startswith("one-r1--") and (kept / "fleet.csv").exists()
    assert all((shop.outbox / customer / "proof.html").exists() for customer in ("ada", "fern"))
    assert rejected(shop) == [] and not list(shop.work.iterdir()) and not list(shop.building.iterdir())


def test_nothing_is_made_of_a_fleet_with_a_faulty_row(shop: Shop, drop: Drop) -> None:
    lay(fleet(drop), shop)
    run_until_quiet(shop)
    assert (revisions(shop), rejected(shop)) == ([], ["vans"])
    refused = json.loads((shop.rejects / "vans" / "REJECTED.json").read_bytes())
    (reason,) = [reason for reason in refused["reasons"] if reason["kind"] == "refuse"]
    assert (reason["file"], reason["field"]) == ("fleet.csv", "C3") and reason["what"].startswith('row 3, "radio"')


def test_with_each_good_the_faulty_rows_come_back_alone_and_go_through_once_mended(shop: Shop, drop: Drop) -> None:
    lay(fleet(drop, HEAD + "each_good = true\n"), shop)
    run_until_quiet(shop)
    assert (revisions(shop), rejected(shop)) == (["ada/one-r1", "fern/one-r1"], ["vans"])
    left = (shop.rejects / "vans" / "fleet.csv").read_text(encoding="utf-8-sig")
    assert list(csv.reader(io.StringIO(left), delimiter=";")) == [ROWS[0], ROWS[2]]
    (shop.rejects / "vans" / "fleet.csv").write_text(left.replace("tinny", "tiny"), encoding="utf-8-sig")
    shutil.copytree(shop.rejects / "vans", shop.inbox / "vans")
    run_until_quiet(shop)
    assert revisions(shop) == ["ada/one-r1", "fern/one-r1", "fern/two-r1"]
    assert (shop.rejects / "vans" / "MENDED.txt").exists()


def test_a_row_that_fails_while_it_is_made_keeps_the_others_from_being_published(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = pipeline.make

    def make(job: Job, *rest: object) -> object:
        if job.name == "two":
            raise Refused([refuse("flashes", "flashes too much", "calm it")])
        return real(job, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(pipeline, "make", make)
    rows = [ROWS[0], ROWS[1], ["Fern", "two", "tiny"], ROWS[3]]
    lay(fleet(drop, rows=rows), shop)
    run_until_quiet(shop)
    assert (revisions(shop), rejected(shop)) == ([], ["vans"])
    assert "row 3: flashes too much" in (shop.rejects / "vans" / "REJECTED.txt").read_text(encoding="utf-8")
    (shop.inbox / "again").mkdir()
    shutil.copytree(fleet_of(shop), shop.inbox / "again", dirs_exist_ok=True)
    (shop.inbox / "again" / "job.toml").write_text(HEAD + "each_good = true\n")
    run_until_quiet(shop)
    assert (revisions(shop), rejected(shop)) == (["ada/one-r1", "fern/one-r1"], ["again", "vans"])


def fleet_of(shop: Shop) -> Path:
    return shop.rejects / "vans"


def test_a_fleet_in_a_zip_is_made_and_its_faulty_rows_come_back_as_a_folder(shop: Shop, drop: Drop) -> None:
    root = fleet(drop, HEAD + "each_good = true\n")
    shutil.make_archive(str(shop.inbox / "vans"), "zip", root)
    run_until_quiet(shop)
    assert revisions(shop) == ["ada/one-r1", "fern/one-r1"]
    assert (shop.rejects / "vans" / "lamps" / "0001.png").exists() and (shop.rejects / "vans" / "job.toml").exists()
    assert [path.name for path in shop.archive.glob("*/*/*")] == ["vans.zip"]


def test_the_same_fleet_again_gives_further_revisions(shop: Shop, drop: Drop) -> None:
    root = fleet(drop, rows=[ROWS[0], ROWS[1], ROWS[3]])
    for name in ("vans", "vans-again"):
        lay(root, shop, name)
        run_until_quiet(shop)
    assert revisions(shop) == ["ada/one-r1", "ada/one-r2", "fern/one-r1", "fern/one-r2"]


def test_a_row_has_the_bytes_of_a_drop_of_its_own(shop: Shop, drop: Drop) -> None:
    lay(fleet(drop, rows=[ROWS[0], ROWS[1]]), shop)
    lay(drop("alone", frames=3, manifest='customer = "Fern"\njob = "alone"\nradio = "tiny"\n'), shop)
    run_until_quiet(shop)
    made = {name: (shop.outbox / "fern" / name / "usb").rglob("bootanimation.zip") for name in ("one-r1", "alone-r1")}
    (one,), (alone,) = map(list, made.values())
    assert one.read_bytes() == alone.read_bytes()


def test_names_from_the_table_are_words_on_every_page(shop: Shop, drop: Drop) -> None:
    """HTML, 13.1.2.4: what stands between < and > in a page is a tag, unless it is escaped."""
    name = '=HYPERLINK("http://x")<script>alert(1)</script>'
    lay(fleet(drop, HEAD + "each_good = true\n", [ROWS[0], [name, "a", ""], [name, "<b>", "<i>tinny"]]), shop)
    run_until_quiet(shop)
    pages = [*shop.outbox.rglob("*.html"), *shop.rejects.rglob("*.html")]
    assert len(pages) >= 4
    texts = [page.read_text(encoding="utf-8") for page in pages]
    assert not any("<script>alert" in text or "<i>tinny" in text for text in texts)
    assert any("&lt;script&gt;alert" in text for text in texts)
