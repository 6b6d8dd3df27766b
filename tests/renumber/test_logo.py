"""Which picture of a drop is the boot logo. What people call it is common practice, no source."""

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

Choose = Callable[..., JobArt]
FRAMES = ("1.png", "2.png", "3.png")


@pytest.fixture
def choose(tmp_path: Path, rules: Rulebook) -> Choose:
    def art(*names: str, text: str = "") -> JobArt:
        for number, name in enumerate(names):
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).write_bytes(_drawn(number, Path(name).suffix))
        (tmp_path / "job.toml").write_text('customer = "C"\nradio = "tiny"\n' + text)
        return job_art(reading.read(tmp_path), survey(tmp_path, rules.intake), rules.intake, named=rules.kinds)

    return art


def _drawn(number: int, ending: str) -> bytes:
    if ending in (".eps", ".ai", ".pdf"):
        return b"%!PS-Adobe-3.0 EPSF-3.0\n" if ending == ".eps" else b"%PDF-1.6\n"
    if ending == ".psd":
        head = b"8BPS\0\1" + bytes(6) + b"\0\3\0\0\0\2\0\0\0\2\0\x08\0\3"
        return head + bytes(4 * 3) + b"\0\0" + bytes(12)
    file = io.BytesIO()
    picture((48, 64), number).save(file, "PNG")
    return file.getvalue()


def said(art: JobArt) -> dict[str, tuple[str | None, Kind]]:
    return {r.code: (r.file, r.kind) for r in art.reasons}


@pytest.mark.parametrize(
    "logo",
    ["boot logo.png", "logo_final.png", "Logo_768x1024.png", "logo/logo.png", "Logo/van.png", "van LOGO 2.PNG"],
)
def test_one_picture_whose_name_holds_the_word_is_the_logo_and_no_frame(choose: Choose, logo: str) -> None:
    for text in ("", '[[part]]\nart = "*.png"\n'):
        art = choose(*FRAMES, logo, text=text)
        assert (art.logo, art.parts[0].names) == (logo, FRAMES)
        assert said(art) == {"logo-guessed": (logo, Kind.MENDED)}


def test_a_picture_called_logo_comes_before_names_that_hold_the_word(choose: Choose) -> None:
    assert choose("logo.png", "a/1.png", "a/logo 2.png", text='[[part]]\nart = "a/1.png"\n').logo == "logo.png"


def test_two_are_both_named_and_asked_about(choose: Choose) -> None:
    with pytest.raises(Refused) as caught:
        choose(*FRAMES, "boot logo.png", "logo_final.png")
    (reason,) = (r for r in caught.value.reasons if r.kind is Kind.REFUSE)
    assert reason.code == "logo-doubled" and "boot logo.png, logo_final.png" in reason.what and reason.mend


def test_frames_of_a_moving_logo_and_pictures_that_parts_name_are_no_logo(choose: Choose) -> None:
    row = [f"logo_{n}.png" for n in range(1, 5)]
    assert choose(*row).logo is None
    art = choose(*row, "sign logo.png", text='[[part]]\nart = "logo_*.png"\n[[part]]\nart = "sign logo.png"\n')
    assert art.logo is None and art.parts[1].names == ("sign logo.png",)


@pytest.mark.parametrize("logo", ["logo.eps", "logo.ai", "logo.pdf", "Boot Logo.ai", "logo/van.pdf"])
def test_a_logo_of_a_kind_that_is_not_taken_is_refused_with_the_way_out(choose: Choose, logo: str) -> None:
    with pytest.raises(Refused) as caught:
        choose(*FRAMES, logo)
    (reason,) = (r for r in caught.value.reasons if r.kind is Kind.REFUSE)
    assert (reason.code, reason.file) == ("picture-kind", logo) and "PNG" in reason.mend


@pytest.mark.parametrize("name", ["logo", "boot logo"])
def test_the_picture_beside_its_working_file_is_the_logo(choose: Choose, name: str) -> None:
    art = choose(*FRAMES, f"{name}.png", f"{name}.psd")
    assert (art.logo, art.parts[0].names) == (f"{name}.png", FRAMES)
    told = next(r for r in art.reasons if r.code == "logo-chosen")
    assert told.file == f"{name}.png" and f"{name}.psd" in told.what


def test_a_logo_alone_stands_until_the_radio_has_booted(choose: Choose) -> None:
    art = choose("logo.png")
    assert [(p.names, p.plays) for p in art.parts] == [(("logo.png",), UNTIL_BOOTED)]
    assert art.logo == "logo.png" and said(art) == {"logo-alone": ("logo.png", Kind.NOTE)}


def test_of_several_sizes_the_largest_is_taken(choose: Choose) -> None:
    art = choose("1.png", "1@2x.png", "2.png", "2@2x.png", "logo.png", "logo@3x.png")
    assert (art.logo, art.parts[0].names) == ("logo@3x.png", ("1@2x.png", "2@2x.png"))
    assert said(art) == {"logo-chosen": ("logo@3x.png", Kind.MENDED), "sizes-left-out": ("1.png", Kind.MENDED)}
