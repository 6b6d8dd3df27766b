"""`keyturn retry`: a refused drop goes back to the inbox."""

from __future__ import annotations

import pytest

from keyturn.shop.folders import Shop
from samples import Drop, Run


def test_retry_puts_a_refused_drop_back(run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]) -> None:
    drop("van").rename(shop.rejects / "van")
    assert run("retry", "nothing", "--root", shop.root) == 2
    assert "van" in capsys.readouterr().err
    assert run("retry", "van", "--root", shop.root) == 0
    assert (shop.inbox / "van" / "job.toml").is_file()


@pytest.mark.parametrize("name", ["../inbox", ".", "..", "a/b"])
def test_retry_takes_only_a_folder_of_rejects(run: Run, shop: Shop, name: str) -> None:
    assert run("retry", name, "--root", shop.root) == 2
