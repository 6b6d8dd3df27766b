"""A slip in the inbox is entered beside its revision, once, or refused with its reason. It is no drop."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from email.message import EmailMessage
from pathlib import Path

import pytest

from keyturn.inbox.settle import Settle
from keyturn.inbox.survey import snapshot
from keyturn.outbox import published_digests, revision_life
from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import Bench
from keyturn.service import drop_maker, recovery, slip_intake
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_folders import DropFolders
from keyturn.service.drop_maker import DropMaker
from keyturn.shop import slips
from keyturn.shop.folders import Shop
from keyturn.shop.settings import SettleSettings
from keyturn.shop.slips import Slip
from samples import Drop
from shop_runs import lay, run_until_quiet

PATH = "fern-hollow-mobile-library/van-r1"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The shop with one revision, made once."""
    return {"root": tmp_path_factory.mktemp("made") / "shop"}


@pytest.fixture
def out(shop: Shop, drop: Drop, made: dict[str, Path]) -> Path:
    """The revision van-r1 in the outbox."""
    if not made["root"].exists():
        lay(drop(frames=2), shop, "van")
        run_until_quiet(shop)
        shutil.copytree(shop.root, made["root"])
    else:
        shutil.rmtree(shop.root)
        shutil.copytree(made["root"], shop.root)
    return shop.outbox / PATH


@pytest.fixture
def maker(shop: Shop, bench: Bench) -> DropMaker:
    folders = DropFolders(shop, bench.now)
    return DropMaker(folders, Bookkeeping(shop, Ledger.opened(shop.state / "ledger.sqlite3")[0], bench.rules), bench)


def slip_about(folder: Path, **more: object) -> Slip:
    job = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    known = {
        "kind": "answer",
        "id": "0f8a7c52-1b",
        "customer": job["customer"],
        "job": job["job"],
        "revision": job["revision"],
        "path": f"{folder.parent.name}/{folder.name}",
        "digest": published_digests.digest_of(folder),
        "at": "2026-03-01T09:30:00+00:00",
        "by": "Marta Lindqvist",
        "answer": "yes",
    }
    return Slip.model_validate(known | more)


def text_of(slip: Slip) -> bytes:
    return f"Yes, make it so.\n\n{slips.as_line(slip)}\n".encode()


def came(maker: DropMaker, name: str, text: bytes) -> Claim:
    path = maker.folders.shop.inbox / name
    path.write_bytes(text)
    return maker.folders.claim(name, snapshot(path))


def refusal(shop: Shop, name: str) -> str:
    reasons = json.loads((shop.rejects / name / "REJECTED.json").read_text(encoding="utf-8"))["reasons"]
    (reason,) = reasons
    assert reason["mend"]
    return f"{reason['code']}: {reason['what']}"


def test_an_answer_is_entered_beside_its_revision_and_its_file_archived(shop: Shop, out: Path) -> None:
    slip = slip_about(out)
    (shop.inbox / "answer-van-r1.txt").write_bytes(text_of(slip))
    run_until_quiet(shop)
    assert revision_life.read(out).answer == (slip,) and revision_life.read(out).approved
    (kept,) = [p for p in (shop.archive / out.parent.name).iterdir() if (p / "answer-van-r1.txt").is_file()]
    assert kept.name.startswith("van-r1--") and (kept / "answer-van-r1.txt").read_bytes() == text_of(slip)
    assert not any(shop.inbox.iterdir()) and not any(shop.work.iterdir()) and not any(shop.rejects.iterdir())
    assert [path.name for path in out.parent.iterdir() if path.is_dir()] == ["van-r1"]


def questions(page: Path) -> list[dict[str, str]]:
    """Return what answer.js would put into each answer."""
    found = re.findall(r'data-answer hidden>\s*<script type="application/json">(.*?)</script>', page.read_text("utf-8"))
    return [json.loads(table)["slip"] for table in found]


def test_both_sheets_ask_about_exactly_what_lies_there_and_one_shows_the_answer(shop: Shop, out: Path) -> None:
    """The digest is SHA-256 of job.json (FIPS 180-4), by Python's own hashlib."""
    digest = hashlib.sha256((out / "job.json").read_bytes()).hexdigest()
    for page in (out / "proof.html", out.with_name("proof.html")):
        assert [(asked["digest"], asked["path"]) for asked in questions(page)] == [(digest, PATH)]
    assert "said yes" not in out.with_name("proof.html").read_text("utf-8")
    (shop.inbox / "answer").write_bytes(text_of(slip_about(out)))
    run_until_quiet(shop)
    assert "said yes on 1 March 2026" in out.with_name("proof.html").read_text("utf-8")


@pytest.mark.parametrize("name", ["answer", "Re: van.eml", "reply.json", "van.png", "x.zip"])
def test_its_content_tells_a_slip_whatever_its_name(shop: Shop, maker: DropMaker, out: Path, name: str) -> None:
    assert maker.process(came(maker, name, text_of(slip_about(out)))) is Outcome.ENTERED
    assert revision_life.read(out).approved


def test_a_saved_mail_that_packs_its_text_is_read(shop: Shop, maker: DropMaker, out: Path) -> None:
    mail = EmailMessage()
    mail["Subject"] = "Re: van"
    mail.set_content(f"Gärna så! 好\n> {slips.as_line(slip_about(out))}\n", cte="base64")
    assert maker.process(came(maker, "van.eml", mail.as_bytes())) is Outcome.ENTERED
    assert revision_life.read(out).approved


@pytest.mark.parametrize("name", ["answer.txt", "Re: van.eml", "slip"])
def test_a_slip_is_not_held_up_as_a_drop_without_a_manifest_is(tmp_path: Path, bench: Bench, name: str) -> None:
    wait, file = SettleSettings(), tmp_path / name
    file.write_text("[keyturn-slip:")
    settle = Settle(wait, bench.rules.intake.names)
    assert not settle.look(name, snapshot(file), 0.0).ready
    assert settle.look(name, snapshot(file), wait.seconds).ready and wait.seconds < wait.without_manifest_seconds


def test_a_slip_that_comes_twice_counts_once_and_the_hook_hears_of_it_once(
    shop: Shop, maker: DropMaker, out: Path
) -> None:
    told: list[object] = []
    maker = DropMaker(maker.folders, maker.books, maker.bench, told=lambda event, record: told.append((event, record)))
    slip = slip_about(out)
    for name in ("a.txt", "b.txt"):
        assert maker.process(came(maker, name, text_of(slip))) is Outcome.ENTERED
    assert revision_life.read(out).answer == (slip,)
    assert told == [("answered", {"path": f"outbox/{PATH}", "slip": slip.model_dump(mode="json")})]


def test_the_ready_mails_of_a_page_without_script_are_new_answers_each_time(
    shop: Shop, maker: DropMaker, out: Path
) -> None:
    """They hold no random number and no day: they are the same each time they are sent."""
    yes = slip_about(out, at="", by="", id="plain-yes-link")
    change = slip_about(out, at="", by="", id="plain-change-link", answer="change")
    for number, slip in enumerate((yes, change, yes)):
        assert maker.process(came(maker, f"{number}.txt", text_of(slip))) is Outcome.ENTERED
    assert [slip.answer for slip in revision_life.read(out).answer] == ["yes", "change", "yes"]


def test_an_answer_without_a_day_gets_that_on_which_it_came(shop: Shop, maker: DropMaker, out: Path) -> None:
    claim = came(maker, "yes.txt", text_of(slip_about(out, at="", by="")))
    maker.process(claim)
    assert claim.claimed_at and revision_life.read(out).answer[0].at == claim.claimed_at


@pytest.mark.parametrize(
    ("kind", "more"),
    [("shown", {"by": "Marta"}), ("copied", {"stick": "KEYTURN"}), ("fitted", {"boot_s": 18.2}), ("answer", {})],
)
def test_each_kind_goes_the_same_way(
    shop: Shop, maker: DropMaker, out: Path, kind: slips.Kind, more: dict[str, object]
) -> None:
    slip = slip_about(out, kind=kind, answer="change" if kind == "answer" else None, **more)
    assert maker.process(came(maker, "slip", text_of(slip))) is Outcome.ENTERED
    assert getattr(revision_life.read(out), kind) == (slip,)


def newer(out: Path) -> None:
    """Another revision of the same job, as far as a slip sees it."""
    shutil.copytree(out, out.with_name("van-r2"))
    job = json.loads((out / "job.json").read_text(encoding="utf-8")) | {"revision": 2}
    (out.with_name("van-r2") / "job.json").write_text(json.dumps(job))


def test_an_answer_to_an_older_revision_is_refused_and_names_the_newer_one(
    shop: Shop, maker: DropMaker, out: Path
) -> None:
    newer(out)
    assert maker.process(came(maker, "yes.txt", text_of(slip_about(out)))) is Outcome.REFUSED
    assert refusal(shop, "yes") == "slip-for-older: it is about revision 1, and revision 2 is in the outbox"
    assert (shop.rejects / "yes" / "yes.txt").is_file() and not revision_life.read(out).answer


def test_an_older_revision_may_still_be_copied_and_fitted(shop: Shop, maker: DropMaker, out: Path) -> None:
    newer(out)
    fitted = slip_about(out, kind="fitted", answer=None, vehicle="van 7")
    assert maker.process(came(maker, "fitted.txt", text_of(fitted))) is Outcome.ENTERED


@pytest.mark.parametrize("path", ["fern-hollow-mobile-library/van-r7", "nobody/van-r1", "fern-hollow-mobile-library/x"])
def test_a_slip_for_a_job_that_is_not_there_is_refused(shop: Shop, maker: DropMaker, out: Path, path: str) -> None:
    assert maker.process(came(maker, "yes.txt", text_of(slip_about(out, path=path)))) is Outcome.REFUSED
    assert refusal(shop, "yes") == f"slip-job-unknown: there is no job {path} in the outbox"


def test_a_link_in_the_outbox_leads_to_no_revision(shop: Shop, maker: DropMaker, out: Path) -> None:
    (shop.outbox / "elsewhere").symlink_to(out.parent)
    slip = slip_about(out, path="elsewhere/van-r1")
    assert maker.process(came(maker, "yes.txt", text_of(slip))) is Outcome.REFUSED


@pytest.mark.parametrize("more", [{"digest": "ab" * 32}, {"revision": 2}, {"job": "bus"}, {"customer": "Somebody"}])
def test_an_answer_to_something_else_than_what_lies_there_is_refused(
    shop: Shop, maker: DropMaker, out: Path, more: dict[str, object]
) -> None:
    assert maker.process(came(maker, "yes.txt", text_of(slip_about(out, **more)))) is Outcome.REFUSED
    assert refusal(shop, "yes").startswith("slip-digest-wrong: what was shown is not what lies in outbox/")


@pytest.mark.parametrize("spoil", [lambda line: line[:60], lambda line: line[:60] + line[64:]])
def test_a_mail_with_a_spoilt_line_is_refused_as_such(
    shop: Shop, maker: DropMaker, out: Path, spoil: Callable[[str], str]
) -> None:
    line = spoil(slips.as_line(slip_about(out)))
    mail = f"Subject: Re: van\nFrom: marta@example.org\n\nYes please\n> {line}\n".encode()
    assert maker.process(came(maker, "Re van.eml", mail)) is Outcome.REFUSED
    assert refusal(shop, "Re van").startswith("slip-spoilt: ")


def test_a_refused_slip_that_is_mended_and_dragged_back_is_entered(shop: Shop, maker: DropMaker, out: Path) -> None:
    maker.process(came(maker, "yes.txt", slips.as_line(slip_about(out))[:50].encode()))
    (shop.rejects / "yes" / "yes.txt").write_bytes(text_of(slip_about(out)))
    back = shop.inbox / "yes"
    (shop.rejects / "yes").rename(back)
    assert maker.process(maker.folders.claim("yes", snapshot(back))) is Outcome.ENTERED
    assert revision_life.read(out).approved


def test_a_drop_of_pictures_or_a_large_file_is_no_slip(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_bytes(b"[keyturn-slip:AAAA]" + b" " * slips.SLIP_MOST_BYTES)
    assert slip_intake.text_in(tmp_path) is None
    (tmp_path / "a.txt").write_bytes(b"\x89PNG\r\n\x1a\n\0\0 [keyturn-slip:AAAA]")
    assert slip_intake.text_in(tmp_path) is None
    (tmp_path / "a.txt").write_bytes(b"[keyturn-slip:AAAA]")
    assert slip_intake.text_in(tmp_path) is not None
    (tmp_path / "b.txt").write_bytes(b"another")
    assert slip_intake.text_in(tmp_path) is None


def test_a_slip_that_was_entered_before_a_kill_is_archived_though_a_newer_revision_came(
    shop: Shop, maker: DropMaker, out: Path
) -> None:
    slip = slip_about(out)
    claim = came(maker, "yes.txt", text_of(slip))
    revision_life.enter(out, slip)  # and here the service was killed
    (out / ".keyturn-0123456789ab.tmp").write_bytes(b"half")
    newer(out)
    (found,) = recovery.recover(maker.folders)
    assert found.id == claim.id and maker.process(found) is Outcome.ENTERED
    assert revision_life.read(out).answer == (slip,) and not list(out.glob(".keyturn-*"))
    assert list(shop.archive.glob("*/*/yes.txt")) and not any(shop.rejects.iterdir())


def test_the_sheet_that_cannot_be_written_keeps_the_slip_in_work(
    shop: Shop, maker: DropMaker, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    claim = came(maker, "yes.txt", text_of(slip_about(out)))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(drop_maker.Bookkeeping, "enter_slip", full)
        with pytest.raises(OSError, match="No space"):
            maker.process(claim)
    assert maker.folders.artist_path(claim).is_file()
    assert maker.process(claim) is Outcome.ENTERED
