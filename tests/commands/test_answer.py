"""`keyturn answer`: what a customer said at the counter or on the phone."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from keyturn.commands import slip_entry
from keyturn.commands.stick_copy import StickFolder
from keyturn.outbox import published_digests, revision_life, sheets
from keyturn.shop import rulebook, slips
from keyturn.shop.folders import Shop
from samples import Run

Said = pytest.CaptureFixture[str]


@pytest.fixture
def published(shop: Shop, outbox: Path) -> Path:
    """The two revisions of "van", in the outbox of a shop. Return the newest."""
    (customer,) = (path for path in outbox.iterdir() if path.is_dir())
    shutil.copytree(customer, shop.outbox / customer.name)
    shutil.rmtree(shop.published, ignore_errors=True)
    published_digests.adopt_all(shop.published, shop.outbox)
    sheets.write_sheet(shop.outbox, customer.name, rulebook.load(shop.rules))
    return shop.outbox / customer.name / "van-r2"


def test_a_yes_is_noted_and_the_sheet_shows_it(run: Run, shop: Shop, published: Path, capsys: Said) -> None:
    assert run("answer", "van", "yes", "--by", "Marta Lindqvist", "--root", shop.root) == 0
    life = revision_life.read(published)
    assert life.approved and life.answer[0].by == "Marta Lindqvist"
    assert "Marta Lindqvist said yes" in capsys.readouterr().out
    assert "Marta Lindqvist</bdi> said yes on" in (published.parent / "proof.html").read_text(encoding="utf-8")


def test_who_may_not_write_in_the_outbox_hands_it_to_the_service(
    run: Run, shop: Shop, published: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    def closed(*_: object) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(slip_entry.revision_life, "enter", closed)
    assert run("answer", "van", "change", "--by", "Marta", "--note", "Später", "--root", shop.root) == 0
    (file,) = shop.inbox.iterdir()
    slip = slips.found_in(file.read_bytes())
    assert slip is not None and (slip.answer, slip.note, slip.by) == ("change", "Später", "Marta")
    assert "the service enters it" in capsys.readouterr().out


def test_a_change_must_say_which_and_somebody_must_say_it(run: Run, source: StickFolder) -> None:
    revision = source.folder.parent
    assert run("answer", revision, "change", "--by", "Marta") == 2
    assert run("answer", revision, "yes") == 2
    assert run("answer", revision, "yes", "--by", " ") == 2
    assert run("answer", revision, "perhaps", "--by", "Marta") == 2
    assert run("answer", revision, "change", "--by", "Marta", "--note", "x" * 2001) == 2
    assert not revision_life.read(revision).answer


def test_an_answer_to_an_older_revision_is_refused(run: Run, source: StickFolder, capsys: Said) -> None:
    older = source.folder.parent.with_name("van-r1")
    assert run("answer", older, "yes", "--by", "Marta") == 1
    assert "revision 2 is in the outbox" in capsys.readouterr().err
    assert not revision_life.read(older).answer


def test_with_approval_a_stick_is_made_after_the_yes(
    run: Run, shop: Shop, published: Path, tmp_path: Path, capsys: Said
) -> None:
    copy = ("copy", "van", tmp_path, "--any-folder", "--root", shop.root)
    (shop.root / "keyturn.toml").write_text("[approval]\nrequired = true\n")
    assert run(*copy) == 1
    assert "has not said yes to van, revision 2" in capsys.readouterr().err
    assert run("answer", "van", "yes", "--by", "Marta", "--root", shop.root) == 0
    assert run(*copy) == 0
    assert run("copy", published.with_name("van-r1"), tmp_path, "--any-folder", "--replace", "--root", shop.root) == 1
