"""The steps by which the service comes onto a machine and goes again."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

from keyturn.commands import installation
from keyturn.commands.install_steps import RunProgram, Step, WriteFile
from keyturn.commands.installation import SHOP, Place, drop_ins, install_steps, place_of, remove_steps
from keyturn.commands.unit_root import unit_root
from keyturn.shop.wrong_use import WrongUse

SHIPPED = Path(__file__).parents[2] / "systemd"


def commands(steps: Iterable[Step]) -> list[str]:
    return [" ".join(step.command) for step in steps if isinstance(step, RunProgram)]


def test_the_steps_by_hand_are_done_in_their_order() -> None:
    """Expected: the head of systemd/keyturn.service."""
    assert commands(install_steps(Place())) == [
        "python3 -m venv /opt/keyturn",
        f"/opt/keyturn/bin/pip install --quiet {SHIPPED.parent}",
        "systemd-sysusers keyturn.conf",
        "systemd-tmpfiles --create keyturn.conf",
        "systemctl daemon-reload",
        "systemctl enable keyturn.service",
        "systemctl restart keyturn.service",
        "/opt/keyturn/bin/keyturn doctor --root /srv/keyturn",
    ]
    written = {str(s.path): s.text for s in install_steps(Place()) if isinstance(s, WriteFile)}
    assert written == {
        "/etc/sysusers.d/keyturn.conf": (SHIPPED / "keyturn.sysusers").read_text(),
        "/etc/tmpfiles.d/keyturn.conf": (SHIPPED / "keyturn.tmpfiles").read_text(),
        "/srv/keyturn/keyturn.toml": (SHIPPED / "keyturn.toml").read_text(),
        "/etc/systemd/system/keyturn.service": (SHIPPED / "keyturn.service").read_text(),
    }


def test_a_program_that_runs_from_its_place_is_not_installed_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "prefix", "/opt/keyturn")
    assert commands(install_steps(Place()))[0] == "systemd-sysusers keyturn.conf"


def test_where_the_checkout_is_gone_it_is_said_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    class Elsewhere:
        def read_text(self, name: str) -> str | None:
            return '{"url": "file:///no/such/place"}' if name == "direct_url.json" else None

    monkeypatch.setattr(installation, "distribution", lambda name: Elsewhere())
    with pytest.raises(WrongUse, match="is not there any more"):
        list(install_steps(Place()))


def test_another_folder_for_the_shop_stands_in_every_file(tmp_path: Path) -> None:
    place = Place(tmp_path, Path("/data/keyturn.2"))
    texts = [s.text for s in install_steps(place) if isinstance(s, WriteFile)]
    assert not [text for text in texts if "/srv/keyturn" in text]
    for shop in ("relative", "/with blank", "/50%", "/a//b"):
        with pytest.raises(WrongUse):
            Place(tmp_path, Path(shop) if shop != "/a//b" else Path("/a/\n"))


def test_without_a_unit_the_shop_is_the_readmes_and_what_is_said_comes_first(tmp_path: Path) -> None:
    assert place_of(tmp_path, None).shop == SHOP == Path("/srv/keyturn")
    assert place_of(tmp_path, Path("/srv/fern")).shop == Path("/srv/fern")


def test_the_drop_ins_are_those_that_ship() -> None:
    assert {"cluster", "hooks", "notify"} <= set(drop_ins())
    with pytest.raises(WrongUse, match="cluster, hooks"):
        list(install_steps(Place(), ("network",)))


@pytest.mark.system
@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give folders to another user")
def test_another_systems_root_gets_the_service_twice_over_and_loses_it_again(tmp_path: Path) -> None:
    """systemd's own programs work below a root (systemd-sysusers(8), systemd-tmpfiles(8), systemctl(1): --root=)."""
    if any(shutil.which(name) is None for name in ("systemctl", "systemd-sysusers", "systemd-tmpfiles")):
        pytest.skip("systemd is not installed")
    (tmp_path / "etc").mkdir()
    place = Place(tmp_path, Path("/srv/fern"))
    units, shop = tmp_path / "etc" / "systemd" / "system", tmp_path / "srv" / "fern"
    for _ in range(2):
        for step in install_steps(place, ("hooks",)):
            step.do()
        assert unit_root([units]) == Path("/srv/fern")
        assert (units / "multi-user.target.wants" / "keyturn.service").is_symlink()
        assert "keyturn" in (tmp_path / "etc" / "passwd").read_text()
        assert {"inbox", "outbox", "rejects", "keyturn.toml"} <= {path.name for path in shop.iterdir()}
        dropin = units / "keyturn.service.d" / "hooks.conf"
        dropin.write_text(dropin.read_text() + "# our mail server\n")
        (shop / "keyturn.toml").write_text("scan_seconds = 9\n")
    assert dropin.read_text().count("# our mail server") == 2, "an operator's changes stay"
    assert place_of(tmp_path, None) == place, "done again, it need not be told its shop"
    (units / "keyturn.service.d" / "mine.conf").write_text("[Service]\nNice=5\n")
    (shop / "inbox" / "van").mkdir()
    for _ in range(2):
        for step in remove_steps(place):
            step.do()
        assert not [path for path in (tmp_path / "etc").rglob("*keyturn*") if not path.is_dir()]
    assert [path.name for path in (units / "keyturn.service.d").iterdir()] == ["mine.conf"]
    assert (shop / "inbox" / "van").is_dir() and (shop / "keyturn.toml").read_text() == "scan_seconds = 9\n"


def test_the_program_is_removed_last_and_only_where_it_is_one(tmp_path: Path) -> None:
    place, program = Place(tmp_path), tmp_path / "opt" / "keyturn"
    program.mkdir(parents=True)
    assert str(program) not in [step.told() for step in remove_steps(place)][-1]
    (program / "bin").mkdir()
    (program / "bin" / "keyturn").write_text("")
    (program / "pyvenv.cfg").write_text("")
    assert [step.told() for step in remove_steps(place)][-1] == f"remove {program}"
