"""The job's words: in fonts of the drop, of the shop and Keyturn's own, on each radio's panel, in parts, on logos."""

from __future__ import annotations

import io
import pickle
import shutil
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import font_samples
from crew_tasks import dies
from keyturn.flatten.fonts import BUILT_IN
from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.manifest.models import Manifest
from keyturn.renumber import job_words
from keyturn.renumber.job_words import JobWords, WordsBench, words_of
from keyturn.renumber.parts import job_art
from keyturn.renumber.plan import Plan, plan
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Kind, Reason, Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.shop_fonts import ShopFonts, own_typeface
from keyturn.workers import remote_job
from keyturn.workers.crew import InlineCrew, LocalCrew
from renumber.planning import HEAD
from samples import picture
from shop_runs import lay, rejected, run_until_quiet

GLIDE = "[[part]]\n[part.glide]\nframes = 4\npath = [[0.5, 0.5]]\n"
ALEPH, MARSH = "\u05d0", "\u2691"
"""A letter that neither Pillow's typeface nor Keyturn's own has, and a sign that only one font of these tests has."""

Words = Callable[..., JobWords]


@pytest.fixture
def shop_fonts(tmp_path: Path) -> Path:
    folder = tmp_path / "fonts"
    folder.mkdir()
    return folder


@pytest.fixture
def bench(tmp_path: Path, shop_fonts: Path, rules: Rulebook) -> Callable[[], WordsBench]:
    (tmp_path / "drop").mkdir()

    def make() -> WordsBench:
        found = survey(tmp_path / "drop", rules.intake)
        return WordsBench(found, ShopFonts(shop_fonts), rules.intake, InlineCrew())

    return make


def manifest(text: str) -> Manifest:
    return reading.parse((HEAD + text).encode())


@pytest.fixture
def words(tmp_path: Path, bench: Callable[[], WordsBench], rules: Rulebook) -> Words:
    """words("[[part]] ...", **fonts of the drop): its words on the radio "tiny"."""

    def make(text: str, **fonts: bytes) -> JobWords:
        for name, data in fonts.items():
            (tmp_path / "drop" / f"{name}.ttf").write_bytes(data)
        return words_of(manifest(text), [rules.radios["tiny"].panel], bench())

    return make


def only_refusal(found: JobWords) -> Reason:
    (reason,) = [reason for reason in found.reasons if reason.kind is Kind.REFUSE]
    assert reason.mend
    return reason


def names(found: JobWords) -> list[str]:
    """The fonts of the one text that was set."""
    (made,) = found.found.values()
    return [file.path.name if file.path else "built in" for file in made.words.fonts]


def test_words_without_a_font_that_pillow_s_typeface_has_are_left_as_they_were(words: Words) -> None:
    found = words(GLIDE + 'text = "Fern Hollow"\ncolour = "#ff0000"\n')
    assert (found.found, found.reasons) == ({}, ())
    (part,) = manifest(GLIDE + 'text = "Fern Hollow"\n').part
    assert part.glide
    figure, times = found.figure(part.glide.sprites[0], (48, 64))
    assert (figure.text, figure.words, times) == ("Fern Hollow", None, 1.0)


def test_words_of_other_letters_are_set_whole_in_keyturn_s_own_typeface(words: Words) -> None:
    assert names(words(GLIDE + 'text = "Доброе утро, Ελένη!"\n')) == [own_typeface().name]


def test_an_outline_changes_no_typeface(words: Words) -> None:
    found = words(GLIDE + 'text = "Fern Hollow"\noutline = "#000000"\n')
    assert [made.words.fonts for made in found.found.values()] == [(BUILT_IN,)]


def test_a_weight_is_that_of_keyturn_s_own_typeface(words: Words) -> None:
    found = words(GLIDE + 'text = "Fern Hollow"\nweight = 800\n')
    (made,) = found.found.values()
    assert names(found) == [own_typeface().name] and made.words.weight == 800


def test_a_font_of_the_drop_goes_before_one_of_the_shop_with_its_name(words: Words, shop_fonts: Path) -> None:
    (shop_fonts / "brand.ttf").write_bytes(font_samples.font({"F": 900}))
    found = words(GLIDE + 'text = "F"\nfont = "brand.ttf"\n', brand=font_samples.font({"F": 400}))
    (made,) = found.found.values()
    assert made.words.width == pytest.approx(0.4, abs=0.01)
    assert found.fonts == {"brand.ttf"}


def test_a_font_of_the_shop_is_found_by_its_name(words: Words, shop_fonts: Path) -> None:
    (shop_fonts / "Brand.ttf").write_bytes(font_samples.font({"F": 900}))
    found = words(GLIDE + 'text = "F"\nfont = "brand.ttf"\n')
    assert names(found) == ["Brand.ttf"] and found.fonts == frozenset()


def test_letters_that_a_font_lacks_come_from_the_shop_s_fonts_in_the_order_of_their_names(
    words: Words, shop_fonts: Path
) -> None:
    (shop_fonts / "10-last.ttf").write_bytes(font_samples.font({ALEPH: 300, MARSH: 300}))
    (shop_fonts / "9-first.ttf").write_bytes(font_samples.font({ALEPH: 700}))
    found = words(GLIDE + f'text = "F{ALEPH}{MARSH}"\nfont = "brand.ttf"\n', brand=font_samples.font({"F": 400}))
    assert found.reasons == ()
    assert names(found) == ["brand.ttf", "9-first.ttf", "10-last.ttf"]


def test_a_letter_that_no_font_has_is_refused_with_its_unicode_name_and_place(words: Words, shop_fonts: Path) -> None:
    (shop_fonts / "broken.ttf").write_bytes(b"\0\1\0\0 no more than this")
    reason = only_refusal(words(GLIDE + f'text = "Fern {MARSH}"\n'))
    assert reason.code == "letters-missing" and f"{MARSH} (BLACK FLAG)" in reason.what
    assert (reason.file, reason.field) == ("job.toml", "part.1.glide.text")
    sprites = GLIDE + f'[[part.glide.sprite]]\ntext = "A"\n[[part.glide.sprite]]\ntext = "{MARSH}"\n'
    assert only_refusal(words(sprites)).field == "part.1.glide.sprite.2.text"


def test_a_font_that_is_nowhere_is_refused_and_the_shop_s_are_named(words: Words, shop_fonts: Path) -> None:
    (shop_fonts / "harbour.ttf").write_bytes(font_samples.font({"F": 900}))
    reason = only_refusal(words(GLIDE + 'text = "F"\nfont = "brand.ttf"\n'))
    assert reason.code == "font-missing" and reason.field == "part.1.glide.font"
    assert "harbour.ttf" in reason.mend


def test_a_broken_font_that_the_artist_named_is_refused_by_its_file(words: Words) -> None:
    reason = only_refusal(words(GLIDE + 'text = "F"\nfont = "brand.ttf"\n', brand=b"\0\1\0\0 cut"))
    assert (reason.code, reason.file) == ("font-broken", "brand.ttf")


def test_a_broken_font_of_the_shop_that_is_named_is_told_as_the_shop_s(words: Words, shop_fonts: Path) -> None:
    (shop_fonts / "harbour.ttf").write_bytes(b"\0\1\0\0 cut")
    reason = only_refusal(words(GLIDE + 'text = "F"\nfont = "harbour.ttf"\n'))
    assert (reason.code, reason.file) == ("font-broken", "the shop's fonts/harbour.ttf")


def test_a_weight_beyond_the_font_s_is_mended_and_of_a_plain_font_refused(words: Words) -> None:
    light = font_samples.font({"F": 400}, weights=(300, 400, 700))
    found = words(GLIDE + 'text = "F"\nfont = "light.ttf"\nweight = 900\n', light=light)
    (told,) = found.reasons
    assert (told.code, told.kind) == ("font-weight", Kind.MENDED) and "read as 700" in told.what
    plain = words(GLIDE + 'text = "F"\nfont = "plain.ttf"\nweight = 900\n', plain=font_samples.font({"F": 400}))
    assert only_refusal(plain).code == "font-one-weight"


def test_faults_are_the_same_without_setting_the_words(bench: Callable[[], WordsBench], rules: Rulebook) -> None:
    job = manifest(GLIDE + f'text = "{MARSH}"\n' + f'[[part]]\nart = "a"\n[logo]\ntext = "{ALEPH}"\n')
    panels = [rules.radios["tiny"].panel, rules.radios["tall-768x1024"].panel]
    told = job_words.words_faults(job, panels, bench())
    assert [reason.field for reason in told] == ["logo.text.1.text", "part.1.glide.text"]
    assert set(told) == {r for r in words_of(job, panels, bench()).reasons if r.kind is Kind.REFUSE}


# -- on the panel ------------------------------------------------------------------------------------


@pytest.fixture
def planned(tmp_path: Path, bench: Callable[[], WordsBench], rules: Rulebook) -> Callable[..., Plan]:
    def make(text: str, radio: str = "tiny") -> Plan:
        root, profile, job = tmp_path / "drop", rules.radios[radio], manifest(text)
        found = words_of(job, [profile.panel], bench())
        art = job_art(job, survey(root, rules.intake), rules.intake, named=rules.kinds, words=found)
        return plan(job, art, root, profile, rules.intake)

    return make


def test_size_is_a_line_s_height_however_many_lines_there_are(planned: Callable[..., Plan]) -> None:
    """A fourth of the panel's 64 pixels, times three lines."""
    (one, *_), (three, *_) = (
        planned(GLIDE + f'text = "{text}"\nsize = 0.25\nweight = 400\n').parts[0].sources[0].figures
        for text in ("Fern", "Fern\\nHollow\\nLibrary")
    )
    assert one.pose.height == pytest.approx(16) and three.pose.height == pytest.approx(48)


def test_words_that_fit_are_made_smaller_in_all_their_sizes(planned: Callable[..., Plan], tmp_path: Path) -> None:
    """Ten boxes of half an em; a line of 1 em is at most 0.2 x 64 = 12.8 px high, so they are 64 px wide on a panel of
    48; half of that is 24 px: 0.375 times."""
    (tmp_path / "drop" / "brand.ttf").write_bytes(font_samples.font({"F": 500}))
    lines = f'text = "{"F" * 10}"\nfont = "brand.ttf"\nsize = [0.1, 0.2]\n'
    wide = planned(GLIDE + lines).parts[0].sources
    fit = planned(GLIDE + lines + "fit = 0.5\n").parts[0].sources
    ratios = [a.figures[0].pose.height / b.figures[0].pose.height for a, b in zip(fit, wide, strict=True)]
    assert ratios == pytest.approx([0.375] * len(ratios), rel=0.01)


def test_a_font_that_is_used_is_not_called_left_out_and_another_is(
    planned: Callable[..., Plan], tmp_path: Path, rules: Rulebook, bench: Callable[[], WordsBench]
) -> None:
    for name in ("brand.ttf", "other.ttf"):
        (tmp_path / "drop" / name).write_bytes(font_samples.font({"F": 500}))
    job = manifest(GLIDE + 'text = "F"\nfont = "brand.ttf"\n')
    found = words_of(job, [rules.radios["tiny"].panel], bench())
    art = job_art(job, survey(tmp_path / "drop", rules.intake), rules.intake, named=rules.kinds, words=found)
    assert [reason.file for reason in art.reasons if reason.code == "kind-left-out"] == ["other.ttf"]


def test_words_on_the_logo_are_placed_on_it(planned: Callable[..., Plan], tmp_path: Path) -> None:
    picture((48, 64), 1).save(tmp_path / "drop" / "logo.png")
    made = planned(
        '[[logo.text]]\ntext = "Fern"\nplace = [0.25, 0.75]\nsize = 0.125\nturn = 10\n' + GLIDE + 'text = "A"\n'
    )
    assert made.logo and made.logo.name == "logo.png"
    (placed,) = made.logo.figures
    assert (placed.pose.x, placed.pose.y, placed.pose.height, placed.pose.turn) == (12, 48, 8, 10)
    assert placed.figure.text == "Fern"


def test_without_a_logo_they_are_written_on_frame_1_and_the_animation_stays_as_it_is(
    planned: Callable[..., Plan],
) -> None:
    with_words = planned('[logo]\ntext = "Fern"\n' + GLIDE + 'text = "A"\n')
    without = planned(GLIDE + 'text = "A"\n')
    assert without.logo is None and with_words.parts == without.parts
    assert with_words.logo
    first = without.parts[0].sources[0]
    assert [placed.figure.text for placed in with_words.logo.figures] == ["A", "Fern"]
    assert with_words.logo.figures[:1] == first.figures


def test_a_logo_that_is_the_whole_job_stands_with_its_words(planned: Callable[..., Plan], tmp_path: Path) -> None:
    picture((48, 64), 1).save(tmp_path / "drop" / "logo.png")
    made = planned('[logo]\ntext = "Fern"\n')
    assert [part.sources for part in made.parts] == [(made.logo,)]


def test_a_dissolve_from_the_logo_begins_with_its_words(planned: Callable[..., Plan], tmp_path: Path) -> None:
    picture((48, 64), 1).save(tmp_path / "drop" / "logo.png")
    picture((48, 64), 2).save(tmp_path / "drop" / "van.png")
    made = planned('[logo]\ntext = "Fern"\n[[part]]\nart = "van.png"\ncrossfade = { from = "logo", frames = 3 }\n')
    assert made.parts[0].sources[0] == made.logo
    assert made.parts[0].sources[-1].figures == ()


def test_refused_words_refuse_the_job_with_its_other_faults(planned: Callable[..., Plan]) -> None:
    with pytest.raises(Refused) as caught:
        planned(GLIDE + f'text = "{MARSH}"\nbackdrop = "gone.png"\n')
    assert {r.code for r in caught.value.reasons if r.kind is Kind.REFUSE} == {"letters-missing", "picture-missing"}


# -- from the inbox to the stick ---------------------------------------------------------------------


def pictures(revision: Path) -> tuple[np.ndarray, np.ndarray]:
    """The logo and frame 1 as a radio reads them."""
    with zipfile.ZipFile(revision / "usb" / "bootanimation.zip") as archive:
        first = next(name for name in archive.namelist() if name.endswith(".png"))
        frame = np.asarray(Image.open(io.BytesIO(archive.read(first))).convert("RGB"), float)
    return np.asarray(Image.open(revision / "usb" / "logo.png").convert("RGB"), float), frame


def test_a_drop_s_words_reach_the_stick_in_the_fonts_of_drop_and_shop(shop: Shop, tmp_path: Path) -> None:
    """The panel is 48 x 64. Logo: a box 0.46 x 0.7 em, in a line of 32 px, its middle 12.5 % beyond the panel's middle.
    Frame: half an em of the drop's font and a whole em of the shop's, side by side: 0.46 + 0.96 em of 16 px."""
    (shop.fonts / "shop.ttf").write_bytes(font_samples.font({MARSH: 1000}))
    root = tmp_path / "van"
    root.mkdir()
    (root / "brand.ttf").write_bytes(font_samples.font({"F": 500}))
    Image.new("RGB", (48, 64), (0, 0, 60)).save(root / "logo.png")
    lines = '[[logo.text]]\ntext = "F"\nfont = "brand.ttf"\nsize = 0.5\ncolour = "#ff0000"\nplace = [0.5, 0.625]\n'
    glide = GLIDE + f'text = "F{MARSH}"\nfont = "brand.ttf"\nsize = 0.25\n'
    (root / "job.toml").write_text(HEAD + lines + glide, encoding="utf-8")
    lay(root, shop)
    run_until_quiet(shop)
    assert rejected(shop) == []
    logo, frame = pictures(shop.outbox / "c" / "van-r1")
    red = logo[..., 0] / 255
    assert (red > 0.5).sum() == pytest.approx(0.46 * 0.7 * 32 * 32, rel=0.12)
    rows, columns = np.nonzero(red > 0.5)
    assert columns.mean() + 0.5 == pytest.approx(24, abs=0.6)
    assert rows.max() + 1 == pytest.approx(0.625 * 64 - 16 + 0.8 * 32, abs=1.1), "the baseline"
    white = ((frame / 255) ** 2.2).sum() / 3
    assert white == pytest.approx((0.46 + 0.96) * 0.7 * 16 * 16, rel=0.08)


class ElsewhereCrew(InlineCrew):
    """Runs each job as a cluster's worker does: on copies of its files in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def run(self, task: Callable[..., Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        return super().run(lambda job: pickle.loads(pickle.dumps(task(self._sent(job)))), jobs, names)

    def _sent(self, job: object) -> object:
        def copied(path: Path) -> str:
            shutil.copy(path, self._folder / path.name)
            return path.name

        return remote_job.unpacked(remote_job.packed(job, copied), self._folder)


def test_words_set_on_another_machine_are_drawn_from_the_files_that_lie_here(
    bench: Callable[[], WordsBench], rules: Rulebook, tmp_path: Path, shop_fonts: Path
) -> None:
    (shop_fonts / "shop.ttf").write_bytes(font_samples.font({MARSH: 700}))
    (tmp_path / "drop" / "brand.ttf").write_bytes(font_samples.font({"F": 500, " ": 200}))
    (tmp_path / "elsewhere").mkdir()
    wanted = replace(bench(), crew=ElsewhereCrew(tmp_path / "elsewhere"))
    job = manifest(GLIDE + f'text = "F {MARSH}"\nfont = "brand.ttf"\n')
    panels = [rules.radios["tiny"].panel]
    (there,), (here,) = (words_of(job, panels, each).found.values() for each in (wanted, bench()))
    assert there.words == here.words
    assert there.words.paths == (tmp_path / "drop" / "brand.ttf", shop_fonts / "shop.ttf")


def test_a_font_on_which_the_worker_dies_costs_its_own_drop_a_reason_that_names_it(
    bench: Callable[[], WordsBench], rules: Rulebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reader crashes, as a library of C does: the worker is replaced and the job tried once more."""
    (tmp_path / "drop" / "brand.ttf").write_bytes(font_samples.font({"F": 500}))
    monkeypatch.setattr(job_words, "set_words", dies)
    crew = LocalCrew(1, rules.intake.workers)
    try:
        wanted = replace(bench(), crew=crew)
        found = words_of(manifest(GLIDE + 'text = "F"\nfont = "brand.ttf"\n'), [rules.radios["tiny"].panel], wanted)
    finally:
        crew.close()
    reason = only_refusal(found)
    assert (reason.code, reason.file) == ("picture-defeats-reader", "brand.ttf")
