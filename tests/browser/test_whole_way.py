"""From the inbox to the car: the customer of a drop asks for a change and then says yes, both on the sheet and through
the inbox; the job is put on a stick and fitted, and the board follows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from keyturn.outbox import published_digests, revision_life
from keyturn.shop.folders import Shop
from samples import Drop, Run, picture
from shop_runs import lay, run_until_quiet

pytestmark = pytest.mark.browser

Open = Callable[..., Any]
FERN = "fern-hollow-mobile-library"
PHONE = {"width": 390, "height": 844}


@pytest.fixture
def asking(shop: Shop) -> Shop:
    """A shop in which no job goes on a stick without its customer's yes."""
    with (shop.root / "keyturn.toml").open("a", encoding="utf-8") as settings:
        settings.write("[approval]\nrequired = true\n")
    return shop


def places(page: Any, shop: Shop) -> list[tuple[str, str]]:
    """What the board shows: each place with its count, and its first job with what was said of it."""
    page.goto(shop.board.as_uri())
    sections = page.locator("section[data-place]")
    held = page.locator("section[data-place] img").first
    page.wait_for_function("image => image.complete && image.naturalWidth > 0", arg=held.element_handle())
    return [
        (section.locator("h2").inner_text(), " ".join(section.locator("li p").first.inner_text().split()))
        for section in sections.all()
    ]


def answered(page: Any, shop: Shop, button: str, note: str = "") -> None:
    """The customer opens the sheet on a phone, answers, and sends the file, which somebody lays in the inbox."""
    page.goto((shop.outbox / FERN / "proof.html").as_uri())
    page.get_by_label("Your name").first.fill("Marta Lindqvist")
    if note:
        page.get_by_label("What is to be changed").first.fill(note)
    page.get_by_role("button", name=button).first.click()
    with page.expect_download() as download:
        page.get_by_text("Save the answer as a file").first.click()
    download.value.save_as(shop.inbox / download.value.suggested_filename)
    run_until_quiet(shop)


def test_from_the_inbox_to_the_car(
    opened: Open, run: Run, asking: Shop, drop: Drop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, desk = opened("", **PHONE, accept_downloads=True).page, opened("").page
    shop, stick = asking, tmp_path / "stick"
    stick.mkdir()
    art = drop("van")
    lay(art, shop)
    run_until_quiet(shop)
    ((place, job),) = places(desk, shop)
    assert place == "Waiting for the customer 1" and "van, revision 1, for Fern Hollow Mobile Library" in job
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 1
    assert "Fern Hollow Mobile Library" in capsys.readouterr().err and not list(stick.iterdir())

    answered(page, shop, "Please change", "The lamps are too yellow")
    ((place, job),) = places(desk, shop)
    assert place == "To be changed 1" and job.endswith(": Marta Lindqvist: The lamps are too yellow")

    picture((48, 64), 9).save(art / "lamps" / "0007.png")
    lay(art, shop)
    run_until_quiet(shop)
    ((place, job),) = places(desk, shop)
    assert place == "Waiting for the customer 1" and "van, revision 2" in job
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 1, "a new revision needs a new yes"

    answered(page, shop, "Yes, make it so")
    ((place, job),) = places(desk, shop)
    assert place == "To be put on a stick 1" and job.endswith(": yes from Marta Lindqvist")

    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 0, capsys.readouterr().err
    made = shop.outbox / FERN / "van-r2"
    assert (stick / "bootanimation.zip").read_bytes() == (made / "usb" / "bootanimation.zip").read_bytes()
    run_until_quiet(shop)
    ((place, job),) = places(desk, shop)
    assert place == "To be fitted 1" and job.endswith(f": on the folder {stick}, read back")

    told = ("--by", "Tobias", "--boot", "18.2", "--vehicle", "van 2")
    assert run("fitted", "van", *told, "--root", shop.root) == 0
    run_until_quiet(shop)
    ((place, job),) = places(desk, shop)
    assert place == "Fitted this week 1" and job.endswith(": by Tobias, van 2, boots in 18.2 s")

    life = revision_life.read(made)
    digest = published_digests.recorded(shop.published, f"{FERN}/van-r2")
    assert {slip.digest for slip in (*life.answer, *life.copied, *life.fitted)} == {digest}
    for file in shop.state.glob("ledger*"):  # the folders say it all
        file.unlink()
    run_until_quiet(shop)
    assert [place for place, _ in places(desk, shop)] == ["Fitted this week 1"]
    assert not list(shop.rejects.iterdir()) and not list(shop.inbox.iterdir())
