"""`keyturn make`: the revision it writes, and what it prints."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.shop.folders import Shop
from samples import Drop, Run


def test_make_writes_the_revision_and_says_where(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("make", drop(), "--out", tmp_path / "out", "--root", shop.root) == 0
    said = capsys.readouterr().out
    folder = tmp_path / "out" / "fern-hollow-mobile-library"
    assert str(folder / "van-r1" / "usb") in said
    assert str(folder / "proof.html") in said
    assert (folder / "van-r1" / "usb" / "bootanimation.zip").is_file()
