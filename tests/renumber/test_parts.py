"""Which pictures make which part: what the manifest says, or what a person would guess."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.renumber.parts import UNTIL_BOOTED, JobArt, job_art
from keyturn.shop.reasons import Kind, Refused
from keyturn.shop.rulebook import Rulebook
from samples import picture

HEAD = 'customer = "C"\nradio = "tiny"\n'


@pytest.fixture
def choose(tmp_path: Path, rules: Rulebook) -> Callable[..., JobArt]:
    def art(*names: str, text: str = "") -> JobArt:
        root = tmp_path / "art"
        root.mkdir(exist_ok=True)
        for number, name in enumerate(names):
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            picture((48, 64), number).save(root / name)
        (root / "job.toml").write_text(HEAD + text)
        return job_art(reading.read(root), survey(root, rules.intake), rules.intake)

    return art


def codes(caught: pytest.ExceptionInfo[Refused]) -> set[str]:
    return {r.code for r in caught.value.reasons if r.kind is Kind.REFUSE}


def test_loose_numbered_pictures_are_one_part_and_end_in_a_hold(choose: Callable[..., JobArt]) -> None:
    """An animation that must not be cut mid-motion plays once and then holds a still as an endless part
    (common practice, no source)."""
    art = choose("1.png", "2.png", "10.png")
    once, hold = art.parts
    assert once.names == ("1.png", "2.png", "10.png")
    assert (once.plays, hold.plays) == (1, UNTIL_BOOTED)
    assert hold.names == ("10.png",)


def test_sub_folders_in_name_order_are_parts(choose: Callable[..., JobArt]) -> None:
    art = choose("b/1.png", "b/2.png", "a/1.png", "a/2.png")
    assert [p.art for p in art.parts] == ["a/*", "b/*", "last picture of b/*"]


def test_a_picture_called_logo_is_the_logo_and_no_frame(choose: Callable[..., JobArt]) -> None:
    art = choose("Logo.PNG", "1.png", "2.png")
    assert art.logo == "Logo.PNG"
    assert art.parts[0].names == ("1.png", "2.png")


def test_without_a_logo_or_with_first_frame_frame_one_is_the_logo(choose: Callable[..., JobArt]) -> None:
    assert choose("1.png", "2.png").logo is None
    assert choose("1.png", "2.png", "logo.png", text='[logo]\nart = "first-frame"\n').logo is None


def test_named_parts_are_taken_as_named(choose: Callable[..., JobArt]) -> None:
    art = choose(
        "x/1.png",
        "x/2.png",
        "y/1.png",
        text='[[part]]\nart = "x/*"\nplays = 3\npause = 0.5\n[[part]]\nart = "y/1.png"\nplays = "until-booted"\n',
    )
    assert [(p.names, p.plays, p.pause_s) for p in art.parts] == [
        (("x/1.png", "x/2.png"), 3, 0.5),
        (("y/1.png",), UNTIL_BOOTED, 0.0),
    ]


def test_capitals_that_differ_are_mended(choose: Callable[..., JobArt]) -> None:
    art = choose("Lamps/1.PNG", "Lamps/2.PNG", text='[[part]]\nart = "lamps/*.png"\n')
    assert art.parts[0].names == ("Lamps/1.PNG", "Lamps/2.PNG")
    assert "capitals-differ" in {r.code for r in art.reasons}


@pytest.mark.parametrize(
    ("names", "text", "code"),
    [
        ((), "", "no-art"),
        (("1.png", "a/1.png"), "", "parts-unclear"),
        (("1.png",), '[[part]]\nart = "b/*"\n', "part-empty"),
        (("1.png", "logo.png", "logo.bmp"), "", "logo-doubled"),
        (("1.png",), '[logo]\nart = "mark.png"\n', "logo-missing"),
        (
            ("a/1.png", "b/1.png"),
            '[[part]]\nart = "a/*"\nplays = "until-booted"\n[[part]]\nart = "b/*"\n',
            "part-unreachable",
        ),
    ],
)
def test_what_cannot_be_understood_is_refused(
    choose: Callable[..., JobArt], names: tuple[str, ...], text: str, code: str
) -> None:
    with pytest.raises(Refused) as caught:
        choose(*names, text=text)
    assert codes(caught) == {code}


def test_all_that_is_wrong_with_the_art_is_told_at_once(choose: Callable[..., JobArt], tmp_path: Path) -> None:
    (tmp_path / "art" / "a").mkdir(parents=True)
    (tmp_path / "art" / "a" / "3.png").write_bytes(b"no picture")
    with pytest.raises(Refused) as caught:
        choose(
            "a/1.png",
            "a/2.png",
            "b/1.png",
            "b/01.bmp",
            text='[[part]]\nart = "a/*"\n[[part]]\nart = "b/*"\n[[part]]\nart = "c/*"\n',
        )
    assert {"part-empty", "frames-doubled"} < codes(caught)
    assert len(codes(caught)) == 3


def test_pictures_that_no_part_uses_are_noted(choose: Callable[..., JobArt]) -> None:
    art = choose("a/1.png", "a/2.png", "b/1.png", text='[[part]]\nart = "a/*"\n')
    assert "b/1.png" in next(r.what for r in art.reasons if r.code == "art-unused")


# -- files of other kinds ---------------------------------------------------------------------------


def of_kinds(root: Path, rules: Rulebook, files: dict[str, bytes], text: str = "") -> JobArt:
    root.mkdir(exist_ok=True)
    for name, data in files.items():
        (root / name).write_bytes(data)
    (root / "job.toml").write_text(HEAD + text)
    return job_art(reading.read(root), survey(root, rules.intake), rules.intake, named=rules.kinds)


def encoded(number: int) -> bytes:
    file = io.BytesIO()
    picture((48, 64), number).save(file, "PNG")
    return file.getvalue()


def test_pictures_are_taken_whatever_their_endings(tmp_path: Path, rules: Rulebook) -> None:
    art = of_kinds(
        tmp_path / "art", rules, {"1": encoded(1), "2.dat": encoded(2), "3.png": encoded(3), "logo": encoded(4)}
    )
    assert art.parts[0].names == ("1", "2.dat", "3.png")
    assert art.logo == "logo"


def test_a_drop_of_one_working_file_is_told_its_kind_and_the_way_out(tmp_path: Path, rules: Rulebook) -> None:
    with pytest.raises(Refused) as caught:
        of_kinds(tmp_path / "art", rules, {"lamp.procreate": b"PK\3\4", "wishes.txt": b"blue"})
    lamp, rest = caught.value.reasons
    assert lamp.line().startswith("lamp.procreate: is a Procreate file -> in the program: Share, then PNG")
    assert "wishes.txt" in rest.what


def test_a_working_file_beside_the_frames_is_only_mentioned(tmp_path: Path, rules: Rulebook) -> None:
    art = of_kinds(tmp_path / "art", rules, {"1.png": encoded(1), "2.png": encoded(2), "lamp.kra": b"PK\3\4"})
    assert [(r.code, r.file, r.kind) for r in art.reasons] == [("kind-left-out", "lamp.kra", Kind.NOTE)]


@pytest.mark.parametrize("text", ["", '[[part]]\nart = "*.exr"\n', '[[part]]\nart = "2.exr"\n'])
def test_a_frame_of_a_kind_that_is_not_taken_is_refused_by_its_kind(tmp_path: Path, rules: Rulebook, text: str) -> None:
    files = {"1.png": encoded(1), "2.exr": b"\x76\x2f\x31\x01", "3.png": encoded(3)}
    with pytest.raises(Refused) as caught:
        of_kinds(tmp_path / "art", rules, files, text)
    (reason,) = (r for r in caught.value.reasons if r.kind is Kind.REFUSE)
    assert (reason.code, reason.file) == ("picture-kind", "2.exr") and "OpenEXR" in reason.what


def test_a_part_that_names_a_working_file_is_told_its_kind(tmp_path: Path, rules: Rulebook) -> None:
    with pytest.raises(Refused) as caught:
        of_kinds(tmp_path / "art", rules, {"1.png": encoded(1), "lamp.kra": b"PK"}, '[[part]]\nart = "*.kra"\n')
    assert codes(caught) == {"picture-kind"}
