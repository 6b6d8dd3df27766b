"""The shop that an installed unit names. Expected: systemd.unit(5), systemd.syntax(7), systemd.service(5)."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.commands.unit_root import UNIT_FOLDERS, unit_root

SHIPPED = Path(__file__).parents[2] / "systemd"
START = "[Service]\nExecStart=/opt/keyturn/bin/keyturn run --root /srv/one\n"


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """Two folders of units, the weightier first, and the unit in the second."""
    etc, usr = tmp_path / "etc", tmp_path / "usr"
    for folder in (etc, usr):
        folder.mkdir()
    (usr / "keyturn.service").write_text(START)
    return etc, usr


def drop_in(folder: Path, name: str, text: str, of: str = "keyturn.service.d") -> None:
    (folder / of).mkdir(exist_ok=True)
    (folder / of / name).write_text(text)


def test_the_shipped_unit_names_the_shop_of_the_readme() -> None:
    assert unit_root([SHIPPED]) == Path("/srv/keyturn")
    assert Path("/etc/systemd/system") in UNIT_FOLDERS


def test_without_a_unit_there_is_none(tmp_path: Path) -> None:
    assert unit_root([tmp_path, tmp_path / "gone"]) is None
    assert unit_root([]) is None


@pytest.mark.parametrize(
    ("line", "root"),
    [
        ("/bin/keyturn run --root /srv/x", "/srv/x"),
        ("/bin/keyturn run --root=/srv/x", "/srv/x"),
        ("-:+/bin/keyturn run --root /srv/x", "/srv/x"),
        ('/bin/keyturn run --root "/srv/fern hollow"', "/srv/fern hollow"),
        ('/bin/keyturn run "--root=/srv/fern hollow"', "/srv/fern hollow"),
        (r"/bin/keyturn run --root /srv/fern\x20hollow", "/srv/fern hollow"),
        (r"/bin/keyturn run --root '/srv/fern\shollow'", "/srv/fern hollow"),
        ("/bin/keyturn run --root /srv/50%%", "/srv/50%"),
        ("/bin/keyturn run --root /srv/50$$", "/srv/50$"),
        ("/bin/keyturn run \\\n  # a comment between\n  --root /srv/x \\\n; another\n  --other", "/srv/x"),
        ("/bin/keyturn run --root /srv/%i", None),
        ("/bin/keyturn run --root ${SHOP}", None),
        ("/bin/keyturn run --root", None),
        ("/bin/keyturn run --root x", None),
        ("/bin/keyturn run", None),
        ("", None),
    ],
)
def test_a_command_line_is_read_as_systemd_reads_it(folders: tuple[Path, Path], line: str, root: str | None) -> None:
    (folders[1] / "keyturn.service").write_text(f"[Unit]\nExecStart=/x --root /no\n[Service]\nExecStart={line}\n")
    assert unit_root(folders) == (Path(root) if root else None)


def test_the_weightier_folders_unit_counts_and_a_masked_one_is_none(folders: tuple[Path, Path]) -> None:
    (folders[0] / "keyturn.service").write_text(START.replace("one", "two"))
    assert unit_root(folders) == Path("/srv/two")
    (folders[0] / "keyturn.service").unlink()
    (folders[0] / "keyturn.service").symlink_to("/dev/null")
    assert unit_root(folders) is None


def test_a_drop_in_takes_the_command_back_and_gives_another(folders: tuple[Path, Path]) -> None:
    drop_in(folders[0], "b.conf", "[Service]\nExecStart=\nExecStart=/bin/keyturn run --root /srv/two\n")
    assert unit_root(folders) == Path("/srv/two")
    drop_in(folders[1], "a.conf", "[Service]\nExecStart=\nExecStart=/bin/keyturn run --root /srv/three\n")
    assert unit_root(folders) == Path("/srv/two"), "drop-ins count in the order of their names, whatever their folder"
    drop_in(folders[1], "c.conf", "[Service]\nExecStart=\nExecStart=/bin/keyturn run --root /srv/four\n", "service.d")
    assert unit_root(folders) == Path("/srv/four"), "drop-ins for all services count too"


def test_of_drop_ins_of_one_name_the_weightiest_counts_and_may_be_masked(folders: tuple[Path, Path]) -> None:
    drop_in(folders[1], "a.conf", "[Service]\nExecStart=\nExecStart=/bin/keyturn run --root /srv/two\n")
    (folders[0] / "keyturn.service.d").mkdir()
    (folders[0] / "keyturn.service.d" / "a.conf").symlink_to("/dev/null")
    assert unit_root(folders) == Path("/srv/one")


def test_a_file_that_is_no_unit_names_none(folders: tuple[Path, Path]) -> None:
    (folders[1] / "keyturn.service").write_bytes(b"\xff\x00[[[\n=\n\\")
    assert unit_root(folders) is None
