"""A radio whose crop loses the moving thing says so, and says how to keep it. Whole drops are made."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.pipeline import Bench, make, understand
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Kind, Reason, Refused
from keyturn.shop.rulebook import Rulebook
from samples import Drop

WIDE = (120, 60)


@pytest.fixture
def rules(shop: Shop) -> Rulebook:
    """Rules with two small radios: "tiny" of 48 x 64 pixels, and "broad" of the art's own shape."""
    text = (shop.rules / "radios" / "tiny.toml").read_text(encoding="utf-8")
    text = text.replace("width = 48", "width = 60").replace("height = 64", "height = 30")
    (shop.rules / "radios" / "broad.toml").write_text(text, encoding="utf-8")
    return rulebook.load(shop.rules)


def wide_picture(x: int) -> Image.Image:
    """A lamp at column `x` of a wide, still night."""
    pixels = np.full((WIDE[1], WIDE[0], 3), (20, 30, 60), np.uint8)
    pixels[40:, :, :] = (60, 50, 40)
    pixels[20:30, x : x + 10] = (230, 200, 90)
    return Image.fromarray(pixels)


def lay(root: Path, positions: list[int], *, radio: str = '["tiny", "broad"]', more: str = "") -> Path:
    (root / "lamps").mkdir(parents=True)
    for number, x in enumerate(positions, 1):
        wide_picture(x).save(root / "lamps" / f"{number:04d}.png")
    text = f'customer = "Fern Hollow Mobile Library"\nradio = {radio}\n{more}'
    (root / "job.toml").write_text(text, encoding="utf-8")
    return root


def told(drop: Path, bench: Bench, tmp_path: Path) -> dict[str, list[Reason]]:
    """The notes on lost movement, by radio."""
    scratch, staging = tmp_path / f"{drop.name}-scratch", tmp_path / f"{drop.name}-staging"
    scratch.mkdir()
    staging.mkdir()
    made = make(understand(drop, "van", scratch, bench), "claim", "van", 1, staging, scratch, bench)
    return {r.radio: [reason for reason in r.reasons if reason.code == "motion-cropped"] for r in made.record.radios}


def test_the_narrow_radio_alone_says_it(tmp_path: Path, bench: Bench) -> None:
    # The lamp moves from column 2 to 22 of 120; a panel of 3:4 shows columns 37.5 to 82.5 of it: all is lost.
    found = told(lay(tmp_path / "van", [2, 7, 12, 17, 22]), bench, tmp_path)
    assert not found["broad"]
    (reason,) = found["tiny"]
    assert (reason.kind, reason.file, reason.field) == (Kind.NOTE, "job.toml", "focus")
    assert "100% of what moves in lamps/*" in reason.what
    # Of 45 columns the movement takes 2 to 32, so any window from 0 on holds it.
    assert "keeps 100% of it" in reason.mend and 'fit = "contain"' in reason.mend
    (shown,) = reason.exhibits
    assert shown.name.startswith("lamps/") and shown.kept == pytest.approx((37.5 / 120, 0, 82.5 / 120, 1), abs=0.01)


def test_the_focus_that_is_proposed_mends_it(tmp_path: Path, bench: Bench) -> None:
    (reason,) = told(lay(tmp_path / "van", [2, 7, 12, 17, 22]), bench, tmp_path)["tiny"]
    words, proposed = reason.mend.split("\n")
    assert proposed.startswith("focus = [") and "at the top of job.toml" in words
    found = told(lay(tmp_path / "again", [2, 7, 12, 17, 22], more=proposed + "\n"), bench, tmp_path)
    assert found == {"tiny": [], "broad": []}


@pytest.mark.parametrize(
    ("positions", "more"),
    [
        ([50, 55, 60, 65], ""),  # all within the crop
        ([2] * 5, ""),  # a lamp that stands still outside it
        ([2, 7, 12, 17, 22], 'fit = "contain"\n'),
        ([2, 7, 12, 17, 22], "focus = [0.1, 0.5]\n"),
    ],
)
def test_nothing_is_said_where_nothing_is_lost(tmp_path: Path, bench: Bench, positions: list[int], more: str) -> None:
    assert told(lay(tmp_path / "van", positions, more=more), bench, tmp_path) == {"tiny": [], "broad": []}


def test_a_movement_wider_than_the_panel_is_told_with_what_can_be_kept(tmp_path: Path, bench: Bench) -> None:
    # Eight places from edge to edge, as many as are looked at: but for the two ends each is left and entered once, so
    # no window of 45 columns out of 120 holds clearly more than the middle one.
    (reason,) = told(lay(tmp_path / "van", list(range(0, 111, 15)), radio='"tiny"'), bench, tmp_path)["tiny"]
    assert "no focus keeps more" in reason.mend and reason.mend.endswith('\nfit = "contain"')
    found = told(lay(tmp_path / "again", list(range(0, 111, 15)), more='fit = "contain"\n'), bench, tmp_path)
    assert not found["tiny"]


@pytest.mark.parametrize("ending", ["gif", "webp", "png"])
def test_clips_are_looked_at_too(tmp_path: Path, bench: Bench, ending: str) -> None:
    root = tmp_path / "van"
    root.mkdir()
    pictures = [wide_picture(x) for x in range(90, 110, 4)]
    how = {"lossless": True} if ending == "webp" else {}
    pictures[0].save(root / f"lamp.{ending}", save_all=True, append_images=pictures[1:], duration=80, **how)
    text = 'customer = "Fern Hollow Mobile Library"\nradio = ["tiny", "broad"]\n'
    (root / "job.toml").write_text(f'{text}[[part]]\nart = "lamp.{ending}"\n', encoding="utf-8")
    found = told(root, bench, tmp_path)
    assert [len(found[name]) for name in ("tiny", "broad")] == [1, 0]
    assert "100%" in found["tiny"][0].what and "focus = [0." in found["tiny"][0].mend


def test_art_of_the_panels_shape_is_not_even_looked_at(
    tmp_path: Path, bench: Bench, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("keyturn.judge.crop_check.make_thumbnails", lambda job: pytest.fail("was looked at"))
    assert told(drop(), bench, tmp_path) == {"tiny": []}


def test_a_broken_picture_is_the_frames_business(tmp_path: Path, bench: Bench) -> None:
    root = lay(tmp_path / "van", [2, 7, 12, 17, 22])
    path = root / "lamps" / "0003.png"
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(Refused) as caught:
        told(root, bench, tmp_path)
    assert [(r.code, r.file) for r in caught.value.reasons if r.kind is Kind.REFUSE] == [
        ("picture-broken", "lamps/0003.png")
    ]


@pytest.mark.parametrize("ending", ["gif", "webp", "png"])
def test_a_clip_too_small_for_the_panel_is_told_to_look_soft(tmp_path: Path, bench: Bench, ending: str) -> None:
    root = tmp_path / "van"
    root.mkdir()
    pictures = [Image.new("RGB", (20, 26), (40 * i, 90, 60)) for i in range(4)]
    pictures[0].save(root / f"lamp.{ending}", save_all=True, append_images=pictures[1:], duration=80)
    (root / "job.toml").write_text(
        f'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n[[part]]\nart = "lamp.{ending}"\n', encoding="utf-8"
    )
    (tmp_path / "scratch").mkdir()
    job = understand(root, "van", tmp_path / "scratch", bench)
    (reason,) = [r for r in job.plans[0].reasons if r.code == "art-soft"]
    assert reason.file == f"lamp.{ending}" and "20 x 26 and is enlarged 2.5 times" in reason.what
