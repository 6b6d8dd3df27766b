"""How far one job has come, asked by its name or by a label's code: of the newest revision, an older one, or none."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from keyturn.commands import job_status, make_by_hand
from keyturn.outbox import published_digests
from keyturn.pipeline import Bench
from keyturn.shop.folders import Shop
from keyturn.shop.label_code import LabelCode
from keyturn.shop.wrong_use import WrongUse
from samples import Drop, Run

Said = pytest.CaptureFixture[str]


@pytest.fixture
def made(shop: Shop, drop: Drop, bench: Bench) -> list[Path]:
    """Two revisions of the job "фургон" in the shop's outbox."""
    root = drop("фургон", frames=2)
    folders = [make_by_hand.make(root, shop.outbox, bench).folder for _ in range(2)]
    found = [folder for folder in folders if folder is not None]
    for folder in found:
        published_digests.record(shop.published, f"{folder.parent.name}/{folder.name}", folder)
    return found


def code_of(folder: Path) -> str:
    return LabelCode(folder.name, published_digests.digest_of(folder) or "").text()


def test_the_code_of_an_older_revision_is_told_as_such(run: Run, shop: Shop, made: list[Path], capsys: Said) -> None:
    older, newest = map(code_of, made)
    assert older.isascii()
    assert run("status", newest, "--root", shop.root) == 0
    assert "The label is of the newest revision, 2." in capsys.readouterr().out
    assert run("status", older, "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "An older revision: the label is of revision 1; the newest is revision 2. Make its stick anew." in said
    assert "фургон, revision 2, for Fern Hollow Mobile Library (outbox/fern-hollow-mobile-library/фургон-r2)" in said
    shutil.rmtree(made[0])
    assert job_status.of(shop, older).is_older, "the revision was removed since; its number is known"


def test_a_code_that_is_of_no_revision_of_this_shop_is_unknown(
    run: Run, shop: Shop, made: list[Path], capsys: Said
) -> None:
    for code in (LabelCode(made[1].name, "ab" * 32), LabelCode("van-r1", "ab" * 32), LabelCode("van", "ab" * 32)):
        assert run("status", code.text(), "--root", shop.root) == 2
        assert "is of no revision that this shop has made" in " ".join(capsys.readouterr().err.split())
    code = code_of(made[1])
    for folder in made:
        shutil.rmtree(folder)
    with pytest.raises(WrongUse, match="is in the outbox any more"):
        job_status.of(shop, code)


def test_a_job_is_asked_for_by_its_name(run: Run, shop: Shop, made: list[Path], capsys: Said) -> None:
    assert run("status", "фургон", "--root", shop.root) == 0
    assert "To be put on a stick, since" in capsys.readouterr().out
    assert run("answer", "фургон", "yes", "--by", "Marta", "--root", shop.root) == 0
    assert run("copy", "фургон", shop.root.parent, "--any-folder", "--root", shop.root) == 0
    capsys.readouterr()
    assert run("status", "фургон-r2", "--json", "--root", shop.root) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["label"] is None and told["job"]["place"] == "fit" and told["job"]["said"].endswith(", read back")
    assert run("status", "no-such-job", "--root", shop.root) == 2


def test_where_customers_are_asked_a_job_waits_for_the_customer(shop: Shop, made: list[Path]) -> None:
    (shop.root / "keyturn.toml").write_text("[approval]\nrequired = true\n", encoding="utf-8")
    assert job_status.of(shop, "фургон").job.place == "customer"
