"""Settings: from a file in the shop's root, then from the environment; all errors at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.commands import init
from keyturn.shop import settings
from keyturn.shop.reasons import ShopFault

SHIPPED = Path(__file__).parents[2] / "systemd"


def test_without_a_file_the_defaults_stand(tmp_path: Path) -> None:
    assert settings.load(tmp_path).settle.seconds == 5


def test_the_file_init_writes_says_the_defaults(tmp_path: Path) -> None:
    (tmp_path / "keyturn.toml").write_text(init.SETTINGS_TEXT)
    assert settings.load(tmp_path).model_dump() == settings.load(tmp_path / "nowhere").model_dump()
    uncommented = (
        init.SETTINGS_TEXT.replace("# scan", "scan").replace("# watch = ", "watch = ").replace("# workers", "workers")
    )
    for key in (
        "seconds",
        "without_manifest_seconds",
        "half_copied_seconds",
        "closed_seconds",
        "doubt_seconds",
        "done",
        "archive_days",
        "rejects_days",
        "archive_gib",
        "rejects_gib",
        "level",
        "file",
        "ready",
        "refused",
        "answered",
        "required",
    ):
        uncommented = uncommented.replace(f"# {key}", key)
    (tmp_path / "keyturn.toml").write_text(uncommented)
    assert settings.load(tmp_path).model_dump() == settings.load(tmp_path / "nowhere").model_dump()


@pytest.mark.parametrize("text", [init.SETTINGS_TEXT, (SHIPPED / "keyturn.toml").read_text(encoding="utf-8")])
def test_the_shops_name_stands_there_to_be_uncommented(tmp_path: Path, text: str) -> None:
    start = text.index("# [shop]")
    section = text[start : text.index("\n\n", start)]
    (tmp_path / "keyturn.toml").write_text(section.replace("# ", "", 1).replace("\n# ", "\n"))
    named = settings.load(tmp_path).shop
    assert all((named.name, named.address, named.phone, named.mail, named.website, named.logo))


def test_the_environment_goes_before_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "keyturn.toml").write_text("workers = 1\n[settle]\nseconds = 3\n")
    monkeypatch.setenv("KEYTURN_SETTLE__SECONDS", "7")
    loaded = settings.load(tmp_path)
    assert (loaded.workers, loaded.settle.seconds) == (1, 7)


def test_settings_are_the_same_whichever_way_they_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a variable in the environment the library that reads these is not asked."""
    (tmp_path / "keyturn.toml").write_text('crew = "tcp://10.0.0.5:8786"\n[hooks]\nready = ["print", "it"]\n')
    from_file = settings.load(tmp_path)
    monkeypatch.setenv("KEYTURN_WORKERS", str(from_file.workers))
    assert settings.load(tmp_path).model_dump() == from_file.model_dump()


def test_the_shops_folder_in_the_environment_is_no_setting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KEYTURN_ROOT", str(tmp_path))
    assert settings.load(tmp_path) == settings.load(tmp_path / "nowhere")


@pytest.mark.parametrize("named", ["KEYTURN_WORKERS", "keyturn_workers"])
def test_without_a_shop_the_environment_is_asked(named: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert settings.without_shop().workers == 0
    monkeypatch.setenv(named, "3")
    assert settings.without_shop().workers == 3
    monkeypatch.setenv(named, "three")
    with pytest.raises(ShopFault, match="workers"):
        settings.without_shop()


def test_every_wrong_setting_is_named_at_once(tmp_path: Path) -> None:
    (tmp_path / "keyturn.toml").write_text('worker = 1\nwatch = "always"\n[settle]\nseconds = -1\n')
    with pytest.raises(ShopFault) as caught:
        settings.load(tmp_path)
    for field in ("worker", "watch", "settle.seconds"):
        assert field in str(caught.value)


def test_a_file_that_is_not_toml_is_the_operators_fault(tmp_path: Path) -> None:
    (tmp_path / "keyturn.toml").write_text("= nothing")
    with pytest.raises(ShopFault, match=r"keyturn\.toml"):
        settings.load(tmp_path)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    (tmp_path / "keyturn.toml").write_bytes(b"\xef\xbb\xbfscan_seconds = 2\n")
    assert settings.load(tmp_path).scan_seconds == 2


@pytest.mark.parametrize("text", [b"\xff\xfe", b'_env_file = "x"\n', b"[[settle]]\n", b"settle = 3\n"])
def test_whatever_stands_in_the_file_is_told_as_the_operators_fault(tmp_path: Path, text: bytes) -> None:
    (tmp_path / "keyturn.toml").write_bytes(text)
    with pytest.raises(ShopFault, match=r"keyturn\.toml"):
        settings.load(tmp_path)


def test_a_file_that_cannot_be_read_does_not_pass_for_one_that_is_not_there(tmp_path: Path) -> None:
    (tmp_path / "keyturn.toml").mkdir()
    with pytest.raises(IsADirectoryError):
        settings.load(tmp_path)
