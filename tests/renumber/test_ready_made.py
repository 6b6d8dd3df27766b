"""Ready-made archives, with all that spoils hand-made ones, made anew into what was meant."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from keyturn import pipeline
from keyturn.commands import make_by_hand
from keyturn.pipeline import Bench, Job
from keyturn.radio.archive import Entry
from keyturn.radio.desc import parse
from keyturn.radio.inspect import look
from keyturn.radio.timeline import Pacing, PlayedPart, Timeline
from keyturn.shop.reasons import Kind, Reason, Refused
from samples import picture

SIZE = (48, 64)
MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n'
DESC = b"48 64 12\np 1 6 part0\np 0 0 part1\n"

Bundle = Callable[..., Path]


def png(number: int, size: tuple[int, int] = SIZE) -> bytes:
    out = io.BytesIO()
    picture(size, number).save(out, "PNG")
    return out.getvalue()


def art(frames: int = 6) -> dict[str, bytes]:
    return {f"part0/{n:04d}.png": png(n) for n in range(1, frames + 1)} | {"part1/0001.png": png(frames)}


@pytest.fixture
def bundle(tmp_path: Path) -> Bundle:
    """bundle({name: bytes}, manifest=...): a drop of job.toml and a bootanimation.zip of these entries."""

    def make(
        entries: Mapping[str, bytes] | None = None,
        *,
        desc: bytes | None = DESC,
        manifest: str = MANIFEST,
        method: int = zipfile.ZIP_STORED,
        name: str = "bootanimation.zip",
    ) -> Path:
        root = tmp_path / "drop"
        root.mkdir(exist_ok=True)
        (root / "job.toml").write_text(manifest, encoding="utf-8")
        listed = ({} if desc is None else {"desc.txt": desc}) | dict(art() if entries is None else entries)
        with zipfile.ZipFile(root / name, "w", method) as archive:
            for entry, data in listed.items():
                archive.writestr(entry, data)
        return root

    return make


@pytest.fixture
def understood(bench: Bench, tmp_path: Path) -> Callable[[Path], Job]:
    def understand(drop: Path) -> Job:
        scratch = tmp_path / "scratch"
        scratch.mkdir()
        return pipeline.understand(drop, "van", scratch, bench)

    return understand


Understood = Callable[[Path], Job]


def told(job: Job) -> set[str]:
    return {r.code for r in job.reasons}


def refused(understood: Understood, drop: Path) -> list[Reason]:
    with pytest.raises(Refused) as caught:
        understood(drop)
    return [r for r in caught.value.reasons if r.kind is Kind.REFUSE]


def shows(folder: Path, boot_s: float = 60.0) -> list[tuple[float, bytes]]:
    """What a radio of a fixed beat shows of an archive, and when: picture by picture, from its own list and desc.txt.

    Android Open Source Project, cmds/bootanimation: frames play in name order byte by byte.
    """
    with zipfile.ZipFile(folder) as archive:
        assert all(i.compress_type == zipfile.ZIP_STORED for i in archive.infolist())
        desc = parse(archive.read("desc.txt")).desc
        assert desc is not None
        frames = [sorted(n for n in archive.namelist() if n.startswith(f"{row.path}/")) for row in desc.rows]
        data = {
            n: np.asarray(Image.open(io.BytesIO(archive.read(n))).convert("RGB")).tobytes() for f in frames for n in f
        }
    parts = tuple(PlayedPart(r.type, r.count, r.pause, len(f)) for r, f in zip(desc.rows, frames, strict=True))
    timeline = Timeline(parts, Pacing(desc.fps, "fixed-beat"), boot_s)
    shown: list[tuple[float, bytes]] = []
    for moment in timeline.shown(boot_s):
        seen = data[frames[moment.part][moment.frame]]
        if not shown or shown[-1][1] != seen:
            shown.append((round(moment.start_s, 6), seen))
    return shown


@pytest.fixture
def remade(bench: Bench, tmp_path: Path) -> Callable[[Path], Path]:
    """remade(drop): the archive made from it."""

    def make(drop: Path) -> Path:
        folder = make_by_hand.make(drop, tmp_path / "out", bench).folder
        assert folder is not None
        return folder / "usb" / "bootanimation.zip"

    return make


Remade = Callable[[Path], Path]


# -- sound ones -------------------------------------------------------------------------------------


def test_a_sound_archive_shows_the_same_pictures_at_the_same_times(bundle: Bundle, remade: Remade) -> None:
    drop = bundle()
    made = remade(drop)
    assert shows(made) == shows(drop / "bootanimation.zip")
    assert zipfile.ZipFile(made).read("desc.txt") == DESC


@pytest.mark.parametrize(
    "rows",
    [
        b"p 1 6 part0\np 0 0 part1\n",
        b"p 3 0 part0\np 0 4 part1\n",
        b"p 2 13 part0\np 1 1 part1\np 0 0 part0\n",
        b"c 1 2 part0\np 0 0 part1\n",
        b"p 0 7 part0\n",
        b"p 12 3 part0\np 0 0 part1\n",
        b"p 25 0 part1\np 1 0 part0\np 0 0 part1\n",
    ],
)
def test_rate_plays_and_pauses_come_through(bundle: Bundle, remade: Remade, rows: bytes) -> None:
    """A pause counts frames and follows every play (AOSP cmds/bootanimation)."""
    drop = bundle(desc=b"48 64 12\n" + rows, manifest=MANIFEST + "[motion]\nfinish = 0.01\n")
    assert shows(remade(drop)) == shows(drop / "bootanimation.zip")


def test_many_plays_are_spread_over_trusted_rows(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    """Counts above 10 are not trusted on in-dash radios (common practice, no source)."""
    drop = bundle(desc=b"48 64 24\np 23 2 part0\np 0 0 part1\n")
    assert "plays-spread" in told(understood(drop))
    desc = parse(zipfile.ZipFile(remade(drop)).read("desc.txt")).desc
    assert desc is not None
    assert [row.count for row in desc.rows] == [10, 10, 3, 0]
    assert {row.pause for row in desc.rows[:3]} == {2}


@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(st.tuples(st.integers(1, 14), st.integers(0, 20), st.sampled_from(["part0", "part1"])), max_size=4),
    fps=st.integers(1, 30),
)
def test_any_sound_rows_are_planned_with_the_same_timeline(
    bundle: Bundle, bench: Bench, tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[int, int, str]], fps: int
) -> None:
    text = f"48 64 {fps}\n" + "".join(f"p {n} {pause} {path}\n" for n, pause, path in rows) + "p 0 0 part1\n"
    job = pipeline.understand(bundle(desc=text.encode()), "van", tmp_path_factory.mktemp("scratch"), bench)
    (plan,) = job.plans
    # rows of more than ten plays become several, each of which decodes its pictures once more: left out here
    limits = plan.radio.limits.model_copy(update={"decode_ms_per_mpx": 0.0})
    plan = replace(plan, radio=plan.radio.model_copy(update={"limits": limits}))
    frames = {"part0": 6, "part1": 1}
    meant = Timeline(
        tuple(PlayedPart("p", n, pause, frames[path]) for n, pause, path in [*rows, (0, 0, "part1")]), plan.pacing, 30.0
    )
    assert plan.fps == fps
    assert plan.timeline(30.0).once_only_end_s == pytest.approx(meant.once_only_end_s, abs=1e-6)
    # The part and the play may differ: many plays are spread over several parts.
    made_spans, meant_spans = (
        [(span.frame, span.start_s, span.end_s, span.pausing) for span in timeline.shown(30.0)]
        for timeline in (plan.timeline(30.0), meant)
    )
    assert made_spans == meant_spans
    assert all(p.row.count <= 10 for p in plan.parts)


def test_what_does_not_finish_in_time_is_told_but_made(bundle: Bundle, understood: Understood) -> None:
    """As for any rate chosen by hand: its author has seen it on a radio."""
    job = understood(bundle(desc=b"48 64 1\np 5 6 part0\np 0 0 part1\n"))
    assert "cut-mid-motion" in told(job) or "cut-mid-motion" in {r.code for r in job.plans[0].reasons}
    assert job.plans[0].fps == 1


def test_the_manifest_has_the_last_word(bundle: Bundle, understood: Understood) -> None:
    job = understood(bundle(manifest=MANIFEST + "[motion]\nfps = 20\nfinish = 0.5\n"))
    assert job.plans[0].fps == 20
    assert job.manifest.motion.finish == 0.5
    assert job.plans[0].parts[0].pause_s == 0.5, "six frames at the archive's own 12 a second"


def test_with_parts_of_its_own_the_manifest_leaves_the_archive_alone(bundle: Bundle, understood: Understood) -> None:
    drop = bundle(manifest=MANIFEST + '[[part]]\nart = "mine/*"\n')
    (drop / "mine").mkdir()
    (drop / "mine" / "1.png").write_bytes(png(1))
    job = understood(drop)
    assert "adopted" not in told(job)
    assert [len(p.sources) for p in job.plans[0].parts] == [1, 1]


@pytest.mark.parametrize(
    ("art_name", "table"), [("logo.png", ""), ("mine/face.png", '[logo]\nart = "mine/face.png"\n')]
)
def test_the_drops_own_logo_is_taken_before_the_archives(
    bundle: Bundle, remade: Remade, art_name: str, table: str
) -> None:
    drop = bundle(art() | {"logo.png": png(4)}, manifest=MANIFEST + table)
    (drop / art_name).parent.mkdir(exist_ok=True)
    (drop / art_name).write_bytes(png(9))
    logo = Image.open(remade(drop).parent / "logo.png")
    assert np.array_equal(np.asarray(logo), np.asarray(picture(SIZE, 9)))


def test_loose_art_beside_the_archive_is_told_and_mixes_with_none_of_its_parts(
    bundle: Bundle, understood: Understood
) -> None:
    drop = bundle()
    for name in ("part0/0007.png", "sketch.png"):
        (drop / name).parent.mkdir(exist_ok=True)
        (drop / name).write_bytes(png(7))
    job = understood(drop)
    assert [len(p.sources) for p in job.plans[0].parts] == [6, 1]
    (unused,) = [r for r in job.reasons if r.code == "art-unused"]
    assert "sketch.png" in unused.what


# -- spoilt ones that are put right -----------------------------------------------------------------


def test_a_deflated_archive_comes_out_stored(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    drop = bundle(method=zipfile.ZIP_DEFLATED)
    assert "compression-taken-out" in told(understood(drop))
    sound = bundle(name="sound.zip")
    assert shows(remade(drop)) == shows(sound / "sound.zip")


def test_the_folder_zipped_instead_of_its_contents(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    drop = bundle({f"boot/{n}": d for n, d in {"desc.txt": DESC, **art()}.items()}, desc=None)
    assert "folder-zipped" in told(understood(drop))
    assert shows(remade(drop)) == shows(bundle(name="sound.zip") / "sound.zip")


def test_the_folder_zipped_beside_other_things(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    inside = {f"boot/{n}": d for n, d in {"desc.txt": DESC, **art()}.items()}
    drop = bundle({"readme.txt": b"look in boot", **inside}, desc=None)
    assert "folder-zipped" in told(understood(drop))
    assert shows(remade(drop)) == shows(bundle(name="sound.zip") / "sound.zip")


def test_litter_is_skipped(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    litter = {
        "__MACOSX/._desc.txt": b"x",
        "__MACOSX/part0/._0001.png": b"x",
        "part0/.DS_Store": b"x",
        "part0/Thumbs.db": b"x",
        "part0/._0001.png": b"x",
        "desktop.ini": b"x",
    }
    drop = bundle(art() | litter)
    assert "junk-skipped" in told(understood(drop))
    assert shows(remade(drop)) == shows(bundle(name="sound.zip") / "sound.zip")


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("desc.txt.txt", DESC, "desc-renamed"),
        ("DESC.TXT", DESC, "desc-renamed"),
        ("desc.txt", DESC.replace(b"\n", b"\r\n"), "desc-mended"),
        ("desc.txt", DESC.replace(b"\n", b"\r"), "desc-mended"),
        ("desc.txt", b"\xef\xbb\xbf" + DESC, "desc-mended"),
        ("desc.txt", DESC.decode().encode("utf-16"), "desc-mended"),
        ("desc.txt", DESC.removesuffix(b"\n"), "desc-mended"),
        ("desc.txt.txt", b"\xef\xbb\xbf" + DESC.removesuffix(b"\n").replace(b"\n", b"\r\n"), "desc-mended"),
    ],
)
def test_a_spoilt_desc_txt_is_read_as_it_was_meant(
    bundle: Bundle, remade: Remade, understood: Understood, name: str, data: bytes, code: str
) -> None:
    drop = bundle({name: data, **art()}, desc=None)
    found = [r for r in understood(drop).reasons if r.code == code]
    assert found and all(r.kind is Kind.MENDED and r.file == "bootanimation.zip" for r in found)
    assert zipfile.ZipFile(remade(drop)).read("desc.txt") == DESC


@pytest.mark.parametrize("desc", [DESC, DESC + b"\n", DESC.replace(b" ", b"   ")])
def test_a_sound_desc_txt_is_not_called_mended(bundle: Bundle, understood: Understood, desc: bytes) -> None:
    assert told(understood(bundle(desc=desc))) == {"adopted"}


def test_numbers_without_zeros_play_in_the_order_people_count(
    bundle: Bundle, remade: Remade, understood: Understood
) -> None:
    """Byte order plays frame10 before frame2 (AOSP); the artist meant 2 before 10, and is told."""
    frames = {f"part0/frame{n}.png": png(n) for n in range(1, 13)}
    drop = bundle({**frames, "part1/frame12.png": png(12)})
    assert "frames-padded" in told(understood(drop))
    padded = {f"part0/{n:04d}.png": png(n) for n in range(1, 13)} | {"part1/0001.png": png(12)}
    meant = shows(bundle(padded, name="sound.zip") / "sound.zip")
    assert shows(drop / "bootanimation.zip") != meant
    assert shows(remade(drop)) == meant


def test_two_pictures_with_one_number_are_asked_back(bundle: Bundle, understood: Understood) -> None:
    found = refused(understood, bundle(art() | {"part0/0003 (1).png": png(30)}))
    assert [r.code for r in found] == ["frames-doubled"]


def test_interlaced_and_transparent_pictures_come_out_plain(bundle: Bundle, remade: Remade) -> None:
    """ISO 15948: IHDR byte 12 is the interlace method, byte 9 the colour type (2: truecolour without alpha)."""
    see_through = io.BytesIO()
    Image.new("RGBA", SIZE, (200, 100, 50, 0)).save(see_through, "PNG")
    drop = bundle(art() | {"part0/0002.png": interlaced(png(2)), "part0/0003.png": see_through.getvalue()})
    archive = zipfile.ZipFile(remade(drop))
    frames = [archive.read(n) for n in archive.namelist() if n.endswith(".png")]
    assert {(data[25], data[28]) for data in frames} == {(2, 0)}
    shown = [np.asarray(Image.open(io.BytesIO(data))) for data in frames]
    assert np.array_equal(shown[1], np.asarray(picture(SIZE, 2)))
    assert not shown[2].any(), "see-through lies on the background, black by default"


def interlaced(data: bytes) -> bytes:
    """The same picture in Adam7 order, written by hand after ISO 15948, 8.2: Pillow does not write interlaced files."""
    pixels = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    passes = ((0, 0, 8, 8), (0, 4, 8, 8), (4, 0, 8, 4), (0, 2, 4, 4), (2, 0, 4, 2), (0, 1, 2, 2), (1, 0, 2, 1))
    raw = b"".join(
        b"\0" + row.tobytes() for top, left, down, across in passes for row in pixels[top::down, left::across]
    )

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", pixels.shape[1], pixels.shape[0], 8, 2, 0, 0, 1)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b"")


def test_pictures_and_an_archive_of_another_size_are_fitted(
    bundle: Bundle, remade: Remade, understood: Understood
) -> None:
    drop = bundle(art() | {"part0/0002.png": png(2, (96, 128))}, desc=DESC.replace(b"48 64", b"96 128"))
    assert "panel-fitted" in told(understood(drop))
    archive = zipfile.ZipFile(remade(drop))
    sizes = {Image.open(io.BytesIO(archive.read(n))).size for n in archive.namelist() if n.endswith(".png")}
    assert sizes == {SIZE}
    assert archive.read("desc.txt") == DESC


def test_rows_after_an_endless_one_are_left_out(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    drop = bundle(desc=DESC + b"p 1 0 part0\nc 1 0 part0\np 1 0 never\n")
    assert {"rows-unreachable", "hold-taken-out"} <= told(understood(drop))
    assert zipfile.ZipFile(remade(drop)).read("desc.txt") == DESC


def test_parts_that_must_finish_end_with_the_boot(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    """Type c delays the home screen and the reversing camera (AOSP cmds/bootanimation)."""
    drop = bundle(desc=b"48 64 12\nc 1 6 part0\np 0 0 part1\n")
    assert "hold-taken-out" in told(understood(drop))
    assert zipfile.ZipFile(remade(drop)).read("desc.txt") == DESC


def test_an_archive_that_ends_before_the_boot_gets_a_hold(
    bundle: Bundle, remade: Remade, understood: Understood
) -> None:
    drop = bundle(desc=b"48 64 12\np 1 0 part0\n")
    assert "hold-added" in told(understood(drop))
    archive = zipfile.ZipFile(remade(drop))
    assert archive.read("desc.txt") == b"48 64 12\np 1 0 part0\np 0 0 part1\n"
    assert archive.read("part1/0001.png") == archive.read("part0/0006.png")


@pytest.mark.parametrize("path", ["part0/", "./part0", "part0\\", "PART0"])
def test_a_rows_path_whose_meaning_is_plain_is_mended(
    bundle: Bundle, remade: Remade, understood: Understood, path: str
) -> None:
    drop = bundle(desc=DESC.replace(b"part0", path.encode()))
    assert told(understood(drop)) & {"row-path-mended", "capitals-differ"}
    assert zipfile.ZipFile(remade(drop)).read("desc.txt") == DESC


def test_a_folder_whose_name_looks_like_a_pattern_is_only_itself(bundle: Bundle, understood: Understood) -> None:
    frames = {f"part[01]/{n}.png": png(n) for n in range(1, 4)}
    job = understood(bundle({**frames, **art()}, desc=b"48 64 12\np 1 0 part[01]\np 0 0 part1\n"))
    assert [s.name for s in job.plans[0].parts[0].sources] == sorted(frames)


def test_a_row_that_a_radio_skips_is_told(bundle: Bundle, understood: Understood) -> None:
    job = understood(bundle(desc=DESC + b"# by Ines\n"))
    (told_row,) = [r for r in job.reasons if r.code == "line-skipped"]
    assert "line 4" in told_row.what and told_row.file == "bootanimation.zip"


def test_sound_is_left_out_and_told(bundle: Bundle, remade: Remade, understood: Understood) -> None:
    drop = bundle(art() | {"part0/audio.wav": b"RIFF"})
    assert "sound-left-out" in told(understood(drop))
    assert not [n for n in zipfile.ZipFile(remade(drop)).namelist() if n.endswith("wav")]


@pytest.mark.parametrize("name", ["BootAnimation.zip", "bootanimation.zip.zip"])
def test_the_archives_own_name_may_be_misspelt(bundle: Bundle, understood: Understood, name: str) -> None:
    job = understood(bundle(name=name))
    (adopted,) = [r for r in job.reasons if r.code == "adopted"]
    assert adopted.file == name


def test_what_is_made_is_sound_whatever_was_spoilt(bundle: Bundle, remade: Remade, bench: Bench) -> None:
    """Keyturn's own check of what a radio makes of it, on everything at once."""
    everything = {
        "boot/desc.txt.txt": b"\xef\xbb\xbf48 64 12\r\nc 14 6 part0\r\np 0 0 part1\r\np 1 0 part0",
        "__MACOSX/boot/._desc.txt": b"x",
        **{f"boot/part0/frame{n}.png": png(n, (96, 128)) for n in range(1, 12)},
        "boot/part1/last.png": interlaced(png(11)),
    }
    path = remade(bundle(everything, desc=None, method=zipfile.ZIP_DEFLATED))
    archive = zipfile.ZipFile(path)
    entries = [_entry(archive, i) for i in archive.infolist()]
    verdict = look(entries, archive.read("desc.txt"), bench.rules.radios["tiny"])
    assert [r for r in verdict.reasons if r.kind is Kind.REFUSE] == []
    assert [len(p.frames) for p in verdict.parts] == [11, 11, 1]


def _entry(archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> Entry:
    compressed = info.compress_type != zipfile.ZIP_STORED
    if not info.filename.endswith(".png"):
        return Entry(info.filename, compressed)
    data = archive.read(info)
    width, height = Image.open(io.BytesIO(data)).size
    return Entry(info.filename, compressed, width, height, data[28] == 1, data[25] > 3, data[24], "png")


# -- spoilt ones that only their author can mend ----------------------------------------------------


def of_the_archive(reasons: list[Reason]) -> list[str]:
    assert all((r.file or "").startswith("bootanimation.zip") for r in reasons), reasons
    assert all(r.mend for r in reasons)
    return [r.code for r in reasons]


def test_no_desc_txt(bundle: Bundle, understood: Understood) -> None:
    assert of_the_archive(refused(understood, bundle(desc=None))) == ["desc-missing"]


def test_a_folder_called_desc_txt_is_none(bundle: Bundle, understood: Understood) -> None:
    assert of_the_archive(refused(understood, bundle(art() | {"desc.txt/a.png": png(1)}, desc=None))) == [
        "desc-missing"
    ]


@pytest.mark.parametrize(
    "desc", [b"", b"\n", b"48 64 12\n", b"p 1 0 part0\n", b"48 64 0\np 0 0 part0\n", b"\xff\xfe\x00"]
)
def test_a_desc_txt_without_size_or_rows(bundle: Bundle, understood: Understood, desc: bytes) -> None:
    assert of_the_archive(refused(understood, bundle(desc=desc))) == ["desc-unreadable"]


@pytest.mark.parametrize("row", [b"p 1 0 empty\n", b"p 1 0 part\n", b"p 1 0 notes\n"])
def test_a_row_without_pictures(bundle: Bundle, understood: Understood, row: bytes) -> None:
    drop = bundle(art() | {"notes/a.txt": b"x"}, desc=b"48 64 12\n" + row + b"p 0 0 part1\n")
    (found,) = refused(understood, drop)
    assert of_the_archive([found]) == ["part-empty"]
    assert "part0" in found.mend and "part1" in found.mend


@pytest.mark.parametrize("row", [b"p -1 0 part0\n", b"p 1 -5 part0\n", b"p 4294967295 0 part0\n"])
def test_a_number_below_nothing(bundle: Bundle, understood: Understood, row: bytes) -> None:
    """C's int keeps the low 32 bits of a number too large for it: 4294967295 is -1."""
    assert of_the_archive(refused(understood, bundle(desc=b"48 64 12\n" + row + b"p 0 0 part1\n"))) == ["row-number"]


@pytest.mark.parametrize("count", [611, 20_000, 2**31 - 1])
def test_more_plays_than_can_be_made(bundle: Bundle, understood: Understood, count: int) -> None:
    drop = bundle(desc=f"48 64 12\np {count} 0 part0\np 0 0 part1\n".encode())
    assert of_the_archive(refused(understood, drop)) == ["plays-not-trusted"]


def test_a_pause_longer_than_any_boot_is_cut_and_told(bundle: Bundle, understood: Understood) -> None:
    job = understood(bundle(desc=b"48 64 12\np 1 2147483647 part0\np 0 0 part1\n"))
    assert "pause-cut" in told(job)
    assert job.plans[0].parts[0].pause_s == 60


@pytest.mark.parametrize("path", ["..", "../part0", "part0/../../part1", "/part0", "/etc", ".", "\\..\\part0"])
def test_a_row_that_leads_out_of_the_archive(bundle: Bundle, understood: Understood, path: str) -> None:
    drop = bundle(desc=f"48 64 12\np 1 0 {path}\np 0 0 part1\n".encode())
    assert of_the_archive(refused(understood, drop)) == ["row-outside"]


@pytest.mark.parametrize("path", [b"caf\xe9", b"caf\xc3\xa9", b"a*b", b"**", b"\x01", b"x" * 300])
def test_odd_paths_are_only_rows_without_pictures(bundle: Bundle, understood: Understood, path: bytes) -> None:
    drop = bundle(desc=b"48 64 12\np 1 0 " + path + b"\np 0 0 part1\n")
    assert of_the_archive(refused(understood, drop)) == ["part-empty"]


@pytest.mark.parametrize(
    ("rows", "ground"),
    [
        (b"p 1 6 part0\np 0 0 part1\n", (0, 0, 0)),
        (b"p 1 6 part0 #0B1D2A\np 0 0 part1\n", (11, 29, 42)),
        (b"p 1 6 PART0 #0b1d2a\np 2 0 part0 #0b1d2a\np 0 0 part1\n", (11, 29, 42)),
    ],
)
def test_trimmed_frames_are_laid_on_their_rows_colour_again(
    bundle: Bundle, remade: Remade, understood: Understood, rows: bytes, ground: tuple[int, int, int]
) -> None:
    """Composed here from the published description: the row's colour all over, the frame at X and Y of its line,
    lines in byte order of the names, frames without a line whole (AOSP, cmds/bootanimation)."""
    boxes = [(10, 8, 0, 0), (1, 1, 47, 63), (48, 10, 0, 30), (20, 64, 5, 0)]
    frames = {f"part0/{n:04d}.png": png(n, (w, h)) for n, (w, h, _, _) in enumerate(boxes, 1)}
    lines = "".join(f"{w}x{h}+{x}+{y}\n" for w, h, x, y in boxes).encode()
    whole = {"part0/0005.png": png(5), "part1/0001.png": png(5)}
    drop = bundle({**frames, "part0/trim.txt": lines, **whole}, desc=b"48 64 12\n" + rows)
    expected = []
    for n, (w, h, x, y) in enumerate(boxes, 1):
        screen = np.full((64, 48, 3), ground, np.uint8)
        screen[y : y + h, x : x + w] = np.asarray(picture((w, h), n))
        expected.append(screen)
    expected.append(np.asarray(picture(SIZE, 5)))
    job = understood(drop)
    (undone,) = [r for r in job.reasons if r.code == "trim-undone"]
    assert undone.kind is Kind.MENDED and "5 frames of part0" in undone.what
    archive = zipfile.ZipFile(remade(drop))
    made = [archive.read(n) for n in archive.namelist() if n.startswith("part0/")]
    for ours, theirs in zip(made, expected, strict=True):
        assert np.array_equal(np.asarray(Image.open(io.BytesIO(ours)).convert("RGB")), theirs)
    assert not [n for n in archive.namelist() if n.endswith("trim.txt")], "this radio does not know them"


def test_see_through_trimmed_frames_lie_on_the_rows_colour(bundle: Bundle, remade: Remade) -> None:
    clear = io.BytesIO()
    Image.new("RGBA", (8, 8), (200, 100, 50, 0)).save(clear, "PNG")
    frames = {"part0/0001.png": clear.getvalue(), "part0/trim.txt": b"8x8+4+4\n", "part1/0001.png": png(1)}
    archive = zipfile.ZipFile(remade(bundle(frames, desc=b"48 64 12\np 1 0 part0 #102030\np 0 0 part1\n")))
    shown = np.asarray(Image.open(io.BytesIO(archive.read("part0/0001.png"))).convert("RGB"))
    assert (shown == (0x10, 0x20, 0x30)).all()


@pytest.mark.parametrize(
    ("lines", "size", "rows", "code"),
    [
        (b"20x20+0+0\n", (10, 10), b"p 0 0 part0\n", "frame-size"),
        (b"20x20+0+0", (20, 20), b"p 0 0 part0\n", "frame-size"),
        (b"20x20+30+0\n", (20, 20), b"p 0 0 part0\n", "trim-outside"),
        (b"20x20+0+-1\n", (20, 20), b"p 0 0 part0\n", "trim-outside"),
        (b"0x20+0+0\n", (20, 20), b"p 0 0 part0\n", "trim-outside"),
        (b"20x20+0+0\n", (20, 20), b"p 1 0 part0 #ff0000\np 0 0 part0 #00ff00\n", "trim-grounds"),
        (b"20x20+0+0\n", (20, 20), b"p 1 0 part0 #ff0000\np 0 0 part0\n", "trim-grounds"),
    ],
)
def test_trimmed_frames_that_no_player_shows_as_meant(
    bundle: Bundle, understood: Understood, lines: bytes, size: tuple[int, int], rows: bytes, code: str
) -> None:
    drop = bundle({"part0/0001.png": png(1, size), "part0/trim.txt": lines}, desc=b"48 64 12\n" + rows)
    assert of_the_archive(refused(understood, drop)) == [code]


def test_a_panel_beyond_all_bounds_is_not_drawn(bundle: Bundle, understood: Understood) -> None:
    drop = bundle({"part0/0001.png": png(1), "part0/trim.txt": b"48x64+0+0\n"}, desc=b"99999 99999 12\np 0 0 part0\n")
    assert of_the_archive(refused(understood, drop)) == ["picture-too-large"]


def test_everything_is_told_at_once(bundle: Bundle, understood: Understood) -> None:
    rows = b"48 64 12\np -1 0 part0\np 1 0 ../x\np 1 0 empty\np 0 0 part1\n"
    codes = of_the_archive(refused(understood, bundle(art(), desc=rows)))
    assert sorted(codes) == ["part-empty", "row-number", "row-outside"]


def test_a_broken_archive(bundle: Bundle, understood: Understood) -> None:
    drop = bundle()
    whole = (drop / "bootanimation.zip").read_bytes()
    (drop / "bootanimation.zip").write_bytes(whole[: len(whole) // 2])
    assert of_the_archive(refused(understood, drop)) == ["zip-broken"]


def test_a_broken_picture_in_a_sound_archive(bundle: Bundle, bench: Bench, tmp_path: Path) -> None:
    drop = bundle(art() | {"part0/0003.png": png(3)[:-40]})
    with pytest.raises(Refused) as caught:
        make_by_hand.make(drop, tmp_path / "out", bench)
    assert [r.file for r in caught.value.reasons if r.kind is Kind.REFUSE] == ["part0/0003.png"]


@pytest.mark.parametrize(
    "name", ["../evil.png", "/etc/evil.png", "part0/../../evil.png", "C:\\evil.png", "..\\evil.png"]
)
def test_an_archive_that_reaches_outside(bundle: Bundle, understood: Understood, tmp_path: Path, name: str) -> None:
    found = refused(understood, bundle(art() | {name: png(1)}))
    assert of_the_archive(found) == ["zip-outside"]
    assert not list(tmp_path.rglob("evil*"))


def test_a_link_in_the_archive(bundle: Bundle, understood: Understood) -> None:
    drop = bundle()
    link = zipfile.ZipInfo("part0/0007.png")
    link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(drop / "bootanimation.zip", "a") as archive:
        archive.writestr(link, "/etc/hostname")
    assert of_the_archive(refused(understood, drop)) == ["not-a-file"]


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.one_of(
            st.binary(max_size=30),
            st.builds(
                b"%s %d %d %s".__mod__,
                st.tuples(
                    st.sampled_from([b"p", b"c", b"f", b"x"]),
                    st.integers(-3, 40),
                    st.integers(-3, 3000),
                    st.sampled_from([b"part0", b"part1", b"part0/", b"../part0", b"none", b"[p]*", b"a\\b"]),
                ),
            ),
        ),
        max_size=5,
    ),
    fps=st.integers(-1, 200),
)
def test_any_desc_txt_is_made_or_refused_never_a_bug(
    bundle: Bundle, bench: Bench, tmp_path_factory: pytest.TempPathFactory, rows: list[bytes], fps: int
) -> None:
    drop = bundle(desc=b"48 64 %d\n" % fps + b"\n".join(rows))
    try:
        job = pipeline.understand(drop, "van", tmp_path_factory.mktemp("scratch"), bench)
    except Refused as refused:
        assert any(r.kind is Kind.REFUSE for r in refused.reasons)
    else:
        assert job.plans[0].parts[-1].row.count == 0
        assert all(0 <= p.row.count <= 10 and p.row.pause >= 0 for p in job.plans[0].parts)
