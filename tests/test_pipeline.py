"""From drop to stick: what a made revision is, checked with tools that know nothing of Keyturn."""

from __future__ import annotations

import ctypes
import hashlib
import json
import subprocess
import zipfile
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn import pipeline
from keyturn.commands import make_by_hand
from keyturn.commands.make_by_hand import MadeByHand
from keyturn.pipeline import Bench
from keyturn.shop.progress import Progress, Stopped
from keyturn.shop.reasons import Kind, Refused
from samples import Drop, picture, with_player
from slow_crew import slow_bench

Needs = Callable[[str], str]


@pytest.fixture
def made(drop: Drop, bench: Bench, tmp_path: Path) -> MadeByHand:
    return make_by_hand.make(drop(frames=12), tmp_path / "out", bench)


def stick(result: MadeByHand) -> Path:
    assert result.folder is not None
    return result.folder / "usb"


def refusals(caught: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [r.code for r in caught.value.reasons if r.kind is Kind.REFUSE]


# -- the stick ------------------------------------------------------------------------------------


def test_the_stick_holds_only_what_goes_on_it(made: MadeByHand) -> None:
    """A zip named exactly bootanimation.zip and one still (common practice, no source)."""
    assert sorted(p.name for p in stick(made).rglob("*")) == ["bootanimation.zip", "logo.png"]


@pytest.mark.system
def test_unzip_finds_the_zip_sound_and_every_entry_stored_at_the_root(made: MadeByHand, needs: Needs) -> None:
    """Info-ZIP's unzip and zipinfo, not Python's zipfile. Stored entries: AOSP cmds/bootanimation."""
    path = stick(made) / "bootanimation.zip"
    assert "No errors detected" in subprocess.run([needs("unzip"), "-t", path], capture_output=True, text=True).stdout
    listing = subprocess.run([needs("zipinfo"), path], capture_output=True, text=True, check=True).stdout
    entries = [row.split() for row in listing.splitlines() if row.startswith(("-", "d", "?"))]
    assert len(entries) == 1 + 12 + 1
    assert {entry[5] for entry in entries} == {"stor"}
    assert [e[-1] for e in entries][:2] == ["desc.txt", "part0/0001.png"]


@pytest.mark.system
def test_pngcheck_finds_every_picture_plain_8_bit_rgb_and_not_interlaced(
    made: MadeByHand, needs: Needs, tmp_path: Path
) -> None:
    """pngcheck, an independent checker of ISO 15948."""
    zipfile.ZipFile(stick(made) / "bootanimation.zip").extractall(tmp_path / "unzipped")
    pictures = [*sorted((tmp_path / "unzipped").rglob("*.png")), stick(made) / "logo.png"]
    for path in pictures:
        said = subprocess.run([needs("pngcheck"), "-v", path], capture_output=True, text=True)
        assert said.returncode == 0, said.stdout
        assert "48 x 64 image, 24-bit RGB, non-interlaced" in said.stdout
        chunks = [row.split()[1] for row in said.stdout.splitlines() if row.strip().startswith("chunk ")]
        assert set(chunks) == {"IHDR", "IDAT", "IEND"}, "no metadata"


def test_the_command_file_read_as_c_reads_it(made: MadeByHand) -> None:
    """libc's sscanf with the reference player's patterns, line by line up to each newline (AOSP
    cmds/bootanimation; the patterns are from memory). An unterminated last line would not be seen."""
    data = zipfile.ZipFile(stick(made) / "bootanimation.zip").read("desc.txt")
    assert made.made.record.radios[0].fps == 8
    assert _as_c_reads(data) == ((48, 64, 8), [(b"p", 1, 0, b"part0"), (b"p", 0, 0, b"part1")])
    header, rows = _as_c_reads(data.removesuffix(b"\n"))
    assert header == (48, 64, 8)
    assert rows == [(b"p", 1, 0, b"part0")], "the trap: the last row is dropped"


def _as_c_reads(data: bytes) -> tuple[tuple[int, int, int], list[tuple[bytes, int, int, bytes]]]:
    sscanf = ctypes.CDLL(None).sscanf
    lines = data.split(b"\n")[:-1]
    size = [ctypes.c_int() for _ in range(3)]
    assert sscanf(lines[0], b"%d %d %d", *map(ctypes.byref, size)) == 3
    rows = []
    for text in lines[1:]:
        kind, path = ctypes.create_string_buffer(2), ctypes.create_string_buffer(256)
        count, pause = ctypes.c_int(), ctypes.c_int()
        if sscanf(text, b" %c %d %d %255s", kind, ctypes.byref(count), ctypes.byref(pause), path) == 4:
            rows.append((kind.raw[:1], count.value, pause.value, path.value))
    return (size[0].value, size[1].value, size[2].value), rows


def test_frames_of_the_panels_size_come_through_unchanged(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    result = make_by_hand.make(drop(frames=12), tmp_path / "out", bench)
    pack = zipfile.ZipFile(stick(result) / "bootanimation.zip")
    for number in (1, 7, 12):
        frame = Image.open(BytesIO(pack.read(f"part0/{number:04d}.png")))
        assert (frame.mode, frame.size) == ("RGB", (48, 64))
        assert np.array_equal(np.asarray(frame), np.asarray(picture((48, 64), number)))
    assert pack.read("part1/0001.png") == pack.read("part0/0012.png"), "the hold is the last frame"


def test_the_same_drop_gives_the_same_bytes_whenever_and_whoever_makes_it(
    drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    """And in any other run: by the second crew the pictures' times and the clock differ."""
    first, second = drop("van"), drop("other-folder")
    for path in second.rglob("*.png"):
        path.touch()
    text = (first / "job.toml").read_text()
    (second / "job.toml").write_text(text)
    later = replace(bench, now=lambda: bench.now().replace(year=2030))
    a = stick(make_by_hand.make(first, tmp_path / "a", bench))
    b = stick(make_by_hand.make(second, tmp_path / "b", later))
    for name in ("bootanimation.zip", "logo.png"):
        assert (a / name).read_bytes() == (b / name).read_bytes()


def test_the_record_tells_the_hash_of_every_file_on_the_stick(made: MadeByHand) -> None:
    assert made.folder is not None
    record = json.loads((made.folder / "job.json").read_text())
    for file in record["radios"][0]["files"]:
        data = (stick(made) / file["path"]).read_bytes()
        assert (file["size"], file["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())


def test_making_it_again_is_a_new_revision_and_the_old_one_stays(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop()
    folders = [make_by_hand.make(root, tmp_path / "out", bench).folder for _ in range(2)]
    assert [f.name for f in folders if f] == ["van-r1", "van-r2"]
    assert all(f is not None and (f / "card.html").is_file() for f in folders)


def test_several_radios_get_a_stick_each(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop(manifest='customer = "C"\nradio = ["tiny", "compact-800x480"]\n', size=(800, 480), frames=3)
    result = make_by_hand.make(root, tmp_path / "out", bench)
    assert result.folder is not None
    for radio, size in (("tiny", (48, 64)), ("compact-800x480", (800, 480))):
        folder = result.folder / f"usb-{radio}"
        assert Image.open(folder / "logo.png").size == size
        assert zipfile.ZipFile(folder / "bootanimation.zip").read("desc.txt").startswith(b"%d %d " % size)


def test_a_zip_of_a_drop_is_a_drop(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop()
    packed = tmp_path / "van.zip"
    with zipfile.ZipFile(packed, "w") as pack:
        for path in sorted(root.rglob("*.*")):
            pack.write(path, path.relative_to(root.parent))
    from_zip = make_by_hand.make(packed, tmp_path / "a", bench)
    from_folder = make_by_hand.make(root, tmp_path / "b", bench)
    assert (stick(from_zip) / "bootanimation.zip").read_bytes() == (
        stick(from_folder) / "bootanimation.zip"
    ).read_bytes()
    assert from_zip.made.record.digest == from_folder.made.record.digest


def test_transparency_lies_on_the_background(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """Porter-Duff 'over' on 8-bit sRGB, as paint programs do: half-clear white on #102030."""
    root = drop(manifest='customer = "C"\nradio = "tiny"\nbackground = "#102030"\n', frames=1)
    Image.new("RGBA", (48, 64), (255, 255, 255, 128)).save(root / "lamps" / "0001.png")
    result = make_by_hand.make(root, tmp_path / "out", bench)
    shown = np.asarray(Image.open(stick(result) / "logo.png"))
    share = 128 / 255
    expected = [round(255 * share + under * (1 - share)) for under in (0x10, 0x20, 0x30)]
    assert np.abs(shown.reshape(-1, 3) - np.array(expected)).max() <= 1


# -- judged -----------------------------------------------------------------------------------------


def flashing(root: Path, frames: int) -> Path:
    for number in range(1, frames + 1):
        grey = 255 if number % 2 else 0
        Image.new("RGB", (48, 64), (grey,) * 3).save(root / "lamps" / f"{number:04d}.png")
    return root


def test_flashing_art_is_refused_and_nothing_is_left_behind(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """WCAG 2.2, 2.3.1: black and white in turn at 12 frames a second are 6 flashes a second; 3 are allowed."""
    manifest = 'customer = "C"\nradio = "tiny"\n[motion]\nfps = 30\n'
    root = flashing(drop(manifest=manifest), 60)
    with pytest.raises(Refused) as caught:
        make_by_hand.make(root, tmp_path / "out", bench)
    assert refusals(caught) == ["flashes"]
    assert not list((tmp_path / "out").iterdir())


def test_slow_changes_pass(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    manifest = 'customer = "C"\nradio = "tiny"\n[motion]\nfps = 5\n'
    result = make_by_hand.make(flashing(drop(manifest=manifest), 10), tmp_path / "out", bench)
    assert result.made.record.radios[0].flash.passes
    assert result.made.record.radios[0].flash.general_max_per_s in (2, 3)


def test_frame_one_as_logo_hands_over_unseen_and_another_is_told(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """If frame 1 equals the logo, the change from still to animation is unseen (common practice, no source)."""
    root = drop()
    unseen = make_by_hand.make(root, tmp_path / "a", bench).made.record.radios[0]
    assert unseen.handoff.share_changed == 0
    Image.new("RGB", (48, 64), (200, 30, 30)).save(root / "logo.png")
    seen = make_by_hand.make(root, tmp_path / "b", bench)
    assert seen.made.record.radios[0].handoff.share_changed > 0.9
    assert "handoff-seen" in {r.code for r in seen.made.record.radios[0].reasons}
    assert seen.made.proof.radios[0].handoff_picture is not None
    manifest = root / "job.toml"
    dissolve = '[[part]]\nart = "lamps/*.png"\ncrossfade = { from = "logo", frames = 8 }\n'
    manifest.write_text(manifest.read_text() + dissolve)
    dissolved = make_by_hand.make(root, tmp_path / "c", bench).made.record.radios[0]
    assert dissolved.handoff.share_changed == 0, "the animation begins with the logo itself"


def test_sixteen_bit_panels_get_values_they_can_show(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """RGB565: red and blue have 5 bits, green 6; a value is exact where its low bits repeat its high ones."""
    root = drop(manifest='customer = "C"\nradio = "wide-1024x600-16bit"\n', frames=1, size=(1024, 600))
    result = make_by_hand.make(root, tmp_path / "out", bench)
    shown = np.asarray(Image.open(stick(result) / "logo.png")).astype(int)
    for channel, bits in ((0, 5), (1, 6), (2, 5)):
        high = shown[..., channel] >> (8 - bits)
        assert np.array_equal(shown[..., channel], (high << (8 - bits)) | (high >> (2 * bits - 8)))


def test_a_shop_may_lower_the_flash_check_to_a_note(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    flash = bench.rules.safety.flash.model_copy(update={"on_failure": "note"})
    lowered = bench.rules.model_copy(update={"safety": bench.rules.safety.model_copy(update={"flash": flash})})
    root = flashing(drop(manifest='customer = "C"\nradio = "tiny"\n[motion]\nfps = 30\n'), 60)
    (radio,) = make_by_hand.make(root, tmp_path / "out", replace(bench, rules=lowered)).made.record.radios
    assert not radio.flash.passes
    assert [r.kind for r in radio.reasons if r.code == "flashes"] == [Kind.NOTE]


def test_a_loop_that_flashes_only_across_its_seam_is_found(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """WCAG 2.2, 2.3.1, on a loop as it is shown: seven transitions within a second come about only while looping."""
    greys = [0, 255, 0, 255, 0, 255]
    manifest = 'customer = "C"\nradio = "tiny"\n[motion]\nfps = 8\n[[part]]\nart = "lamps/*"\nplays = {}\n'
    for plays, passes in (("1", True), ('"until-booted"', False)):
        root = drop(f"loop-{passes}", manifest=manifest.format(plays), frames=6)
        for number, grey in enumerate(greys, 1):
            Image.new("RGB", (48, 64), (grey,) * 3).save(root / "lamps" / f"{number:04d}.png")
        if passes:
            assert make_by_hand.make(root, tmp_path / "out", bench).made.record.radios[0].flash.passes
        else:
            with pytest.raises(Refused) as caught:
                make_by_hand.make(root, tmp_path / "out", bench)
            assert refusals(caught) == ["flashes"]


def test_a_hold_that_differs_from_the_last_picture_is_told(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    parts = '[[part]]\nart = "lamps/*"\n[[part]]\nart = "lamps/{:04d}.png"\nplays = "until-booted"\n'
    for last, told in ((6, False), (2, True)):
        root = drop(f"hold-{last}", manifest='customer = "C"\nradio = "tiny"\n' + parts.format(last))
        (radio,) = make_by_hand.make(root, tmp_path / "out", bench).made.record.radios
        assert ("hold-jumps" in {r.code for r in radio.reasons}) is told


def test_a_doubled_frame_amid_motion_is_told_by_its_number(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop(frames=16)
    for number in range(1, 17):
        grey = 40 + 6 * (number if number < 9 else number - 1)
        Image.new("RGB", (48, 64), (grey,) * 3).save(root / "lamps" / f"{number:04d}.png")
    (radio,) = make_by_hand.make(root, tmp_path / "out", bench).made.record.radios
    (told,) = [r for r in radio.reasons if r.code == "motion-stands"]
    assert "frame 9" in told.what


def test_a_part_that_keeps_the_screen_says_by_how_long(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """A type c part plays to its end whatever happens and delays the home screen (AOSP cmds/bootanimation)."""
    tiny = bench.rules.radios["tiny"]
    radios = dict(bench.rules.radios) | {"tiny": with_player(tiny, generation="second")}
    knows_c = replace(bench, rules=bench.rules.model_copy(update={"radios": radios}))
    manifest = (
        'customer = "C"\nradio = "tiny"\n[motion]\nfps = 3\n'
        '[[part]]\nart = "lamps/*"\nhold_screen = "the crossing must be seen"\n'
    )
    (radio,) = make_by_hand.make(drop(frames=60, manifest=manifest), tmp_path / "out", knows_c).made.record.radios
    assert radio.parts[0].type == "c"
    assert radio.timeline.delay_s == pytest.approx(radio.timeline.once_only_s - 16, abs=0.5)
    (told,) = [r for r in radio.reasons if r.code == "home-screen-delayed"]
    assert "the crossing must be seen" in told.what
    assert "reversing camera" in told.mend


def test_a_loop_beyond_the_radios_memory_is_refused_with_what_would_fit(
    drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    """Textures of a repeating part on 4.0: power-of-two sides x 2 bytes x frames (AOSP cmds/bootanimation): here
    64 x 64 x 2 bytes = 1/128 MiB a frame."""
    tiny = bench.rules.radios["tiny"]
    limits = tiny.limits.model_copy(update={"texture_mib": 0.125})
    radios = dict(bench.rules.radios) | {"tiny": tiny.model_copy(update={"limits": limits})}
    small = replace(bench, rules=bench.rules.model_copy(update={"radios": radios}))
    manifest = 'customer = "C"\nradio = "tiny"\n[[part]]\nart = "lamps/*"\nplays = "until-booted"\n'
    with pytest.raises(Refused) as caught:
        make_by_hand.make(drop(frames=17, manifest=manifest), tmp_path / "out", small)
    assert refusals(caught) == ["memory-exceeded"]
    assert "16 frames" in str(caught.value)


# -- refused ----------------------------------------------------------------------------------------


def test_a_drop_is_refused_for_all_its_reasons_at_once(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    manifest = (
        'customer = "C"\nradio = "tinny"\nbackgroud = "#000000"\n[[part]]\nart = "lamps/*"\n[[part]]\nart = "no/*"\n'
    )
    root = drop(manifest=manifest)
    whole = (root / "lamps" / "0002.png").read_bytes()
    (root / "lamps" / "0002.png").write_bytes(whole[: len(whole) // 2])
    picture((48, 64), 99).save(root / "lamps" / "0004 (1).png")
    with pytest.raises(Refused) as caught:
        make_by_hand.make(root, tmp_path / "out", bench)
    found = {(r.code, r.file) for r in caught.value.reasons if r.kind is Kind.REFUSE}
    assert {"radio-unknown", "manifest-key-unknown", "part-empty", "frames-doubled"} <= {code for code, _ in found}
    assert "lamps/0002.png" in {file for _, file in found}


def test_every_broken_picture_is_named(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop(frames=9)
    for number in (2, 5, 9):
        path = root / "lamps" / f"{number:04d}.png"
        path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(Refused) as caught:
        make_by_hand.make(root, tmp_path / "out", bench)
    named = {r.file for r in caught.value.reasons if r.kind is Kind.REFUSE}
    assert named == {"lamps/0002.png", "lamps/0005.png", "lamps/0009.png"}


def test_a_drop_that_is_refused_anyway_keeps_its_reasons_where_its_time_ends(
    drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    root = drop(frames=9, manifest='customer = "Fern Hollow Mobile Library"\nradio = "tinny"\n')
    (root / "lamps" / "0001.png").write_bytes(b"broken")
    with pytest.raises(Refused) as caught:
        make_by_hand.check(root, slow_bench(bench, drop_seconds=100, job_seconds=30))
    assert set(refusals(caught)) == {"radio-unknown", "picture-unknown", "drop-takes-too-long"}


def test_too_many_frames_are_refused_before_any_is_made(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    caps = bench.rules.intake.caps.model_copy(update={"frames": 5})
    few = bench.rules.model_copy(update={"intake": bench.rules.intake.model_copy(update={"caps": caps})})
    with pytest.raises(Refused) as caught:
        make_by_hand.make(drop(frames=6), tmp_path / "out", replace(bench, rules=few))
    assert refusals(caught) == ["too-many-frames"]


def test_work_stops_between_two_frames(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    seen: list[int] = []
    progress = Progress(lambda stage, done, total: seen.append(done), stop=lambda: len(seen) > 3)
    stopping = replace(bench, progress=progress)
    with pytest.raises(Stopped):
        make_by_hand.make(drop(frames=20), tmp_path / "out", stopping)
    assert max(seen) < 10
    assert not list((tmp_path / "out").iterdir())


def test_progress_counts_the_frames_of_all_radios(tmp_path: Path, drop: Drop, bench: Bench) -> None:
    """A job for two radios is half done after the first."""
    heard: list[tuple[int, int]] = []
    wider = bench.rules.radios["tiny"].model_copy(update={"name": "wider"})
    both = bench.rules.model_copy(update={"radios": {**bench.rules.radios, "wider": wider}})
    telling = replace(bench, rules=both, progress=Progress(lambda stage, done, total: heard.append((done, total))))
    root = drop(manifest='customer = "C"\nradio = ["tiny", "wider"]\n')
    make_by_hand.make(root, tmp_path / "out", telling)
    (total,) = {total for _, total in heard if total}
    assert max(done for done, _ in heard) == total == 14


def test_a_drop_in_a_folder_of_its_own_is_found(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop()
    outer = tmp_path / "outer"
    outer.mkdir()
    root.rename(outer / "van")
    result = make_by_hand.make(outer, tmp_path / "out", bench)
    assert "folder-in-folder" in {r.code for r in result.made.record.reasons}


def test_understanding_decodes_no_picture(
    drop: Drop, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*args: object, **kwargs: object) -> None:
        raise AssertionError("decoded")

    monkeypatch.setattr("keyturn.normalize.reading.stills.load", never)
    job = pipeline.understand(drop(), "van", tmp_path, bench)
    assert job.plans[0].frame_count == 7


def test_every_stage_is_told_in_its_order(tmp_path: Path, drop: Drop, bench: Bench) -> None:
    """An operator finds their times in the log, see `Progress.times`."""
    heard: list[str] = []
    telling = replace(bench, progress=Progress(lambda stage, done, total: heard.append(stage)))
    make_by_hand.make(drop(), tmp_path / "out", telling)
    told = [stage for stage, before in zip(heard, [None, *heard], strict=False) if stage != before]
    assert told == ["frames", "package", "preview", "judge", "package", "papers"]


# -- job.toml as editors leave it -------------------------------------------------------------------

CLEAN_JOB = """\
customer = "Fern Hollow Mobile Library"
radio = "tiny"
background = "#ffffff"
rush = true

[motion]
fps = 12

[[part]]
art = "lamps/*"
pause = 0.5
"""
TYPED_JOB = """\
Customer = “Fern Hollow\xa0Mobile Library”
radio = „Tiny“
Background = “White”
rush = Yes

[Motion]
FPS = "12"

[[Part]]
art = “lamps\\”
pause = 0,5
"""


def test_a_job_as_an_editor_leaves_it_is_made_as_the_clean_one_and_all_that_was_mended_is_told(
    drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    clean = make_by_hand.make(drop("clean", manifest=CLEAN_JOB), tmp_path / "a", bench)
    typed_drop = drop("typed", manifest=TYPED_JOB)
    text = (typed_drop / "job.toml").read_text(encoding="utf-8")
    (typed_drop / "job.toml").rename(typed_drop / "JOB.TOML.txt")
    (typed_drop / "JOB.TOML.txt").write_bytes(text.replace("\n", "\r").encode("utf-16"))
    typed = make_by_hand.make(typed_drop, tmp_path / "b", bench)
    of = [{path.name: path.read_bytes() for path in stick(each).rglob("*.*")} for each in (clean, typed)]
    assert of[0] == of[1]
    said = [reason for reason in typed.made.record.reasons if reason.code.startswith("manifest-")]
    assert {r.code for r in said} == {
        "manifest-renamed", "manifest-encoding", "manifest-line-ends", "manifest-text", "manifest-mended",
    }  # fmt: skip
    assert all(reason.kind is Kind.MENDED for reason in said)
    assert {"radio", "part.1.art", "motion.fps", "background"} <= {reason.field for reason in said}
    assert not [reason for reason in clean.made.record.reasons if reason.code.startswith("manifest-")]
    sheet = next((tmp_path / "b").rglob("proof.html")).read_text(encoding="utf-8")
    assert "was read as job.toml" in sheet and "quotes of another kind" in sheet


def test_a_drop_whose_two_facts_stand_in_a_text_is_told_what_to_paste(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    folder = drop("order")
    (folder / "job.toml").rename(folder / "order.txt")
    (folder / "order.txt").write_text("Customer: Fern Hollow\nRadio: Tiny\n")
    with pytest.raises(Refused) as caught:
        make_by_hand.make(folder, tmp_path / "out", bench)
    assert refusals(caught) == ["manifest-missing"]
    assert 'customer = "Fern Hollow"\nradio = "tiny"' in caught.value.reasons[-1].mend


def test_the_customers_language_is_in_the_record_and_on_the_sheet(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop(manifest='customer = "C"\nradio = "tiny"\nlanguage = "fr"\n', frames=3)
    made = make_by_hand.make(root, tmp_path / "out", bench)
    assert made.folder is not None
    assert json.loads((made.folder / "job.json").read_text())["language"] == "fr"
    for page in (made.folder / "proof.html", made.folder.parent / "proof.html"):
        assert '<html lang="fr">' in page.read_text(encoding="utf-8")
    assert '<html lang="en">' in (made.folder / "card.html").read_text(encoding="utf-8"), "the fitter's page"
