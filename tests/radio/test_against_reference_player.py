"""The package's reading, timeline, memory and verdicts against the literal player of each generation.

`reference_player` is a plain loop in virtual time that shares no code with the package.
"""

from __future__ import annotations

import math
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from keyturn.commands.archive_reader import Bundle, read_bundle
from keyturn.radio import memory
from keyturn.radio.archive import PartSeen, part_seen
from keyturn.radio.desc import Desc, parse
from keyturn.radio.inspect import look
from keyturn.radio.pacing import Pacing
from keyturn.radio.timeline import Timeline
from keyturn.shop import rulebook
from keyturn.shop.player_facts import GENERATIONS, Generation, of_generation
from keyturn.shop.reasons import Kind
from radio.boot_zips import File, animation, part, png, zip_of
from radio.reference_player.player import play
from radio.reference_player.screen import Played
from samples import examples

CAPS = rulebook.load().intake.caps
SIZE = (48, 64)
NEAR_MS = 0.01
"""Milliseconds in which two times are taken to be the same: the literal player counts in floats."""

LONG_MS = 60_000.0


@st.composite
def rows(draw: Any) -> str:
    """Rows as people write them: all types, blanks before, colours, fades, folders that are not there."""
    kind = draw(st.sampled_from("ppppcfq"))
    text = f"{kind} {draw(st.integers(0, 3))} {draw(st.integers(0, 6))} {draw(st.sampled_from('aab'))}"
    text = draw(st.sampled_from(["", "", "", "", " "])) + text.replace("b", draw(st.sampled_from(["b", "b", "ghost"])))
    if kind == "f" and draw(st.booleans()):
        text += f" {draw(st.integers(0, 9))}"
    return text + draw(st.sampled_from(["", "", " #102030"]))


@st.composite
def archives(draw: Any) -> bytes:
    lines = draw(st.lists(rows(), min_size=1, max_size=4))
    head = f"{SIZE[0]} {SIZE[1]} {draw(st.sampled_from([5, 7, 10, 12, 30]))}"
    folders = [part(name, draw(st.integers(1, 4)), *SIZE) for name in "ab"]
    return animation("\n".join([head, *lines, ""]), *folders)


COSTS = st.sampled_from([(0, 0), (12, 3), (30, 10), (90, 20), (250, 40)])
"""Milliseconds to decode a picture, and to draw a frame."""


@pytest.fixture(scope="module")
def bundle_of(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("archives")

    def read(data: bytes) -> Bundle:
        path: Path = folder / "bootanimation.zip"
        path.write_bytes(data)
        return read_bundle(path, CAPS)

    return read


def read_as(bundle: Bundle, generation: Generation) -> tuple[Desc, list[PartSeen]]:
    facts = of_generation(generation)
    desc = parse(bundle.desc or b"", facts=facts).desc
    assert desc is not None
    return desc, [part_seen(row, bundle.entries, facts) for row in desc.rows]


def pacing(generation: Generation, fps: int, cost: tuple[int, int]) -> Pacing:
    facts = of_generation(generation)
    return Pacing(
        fps,
        facts.pacing,
        cost_s=sum(cost) / 1000,
        later_cost_s=cost[1] / 1000,
        killed=facts.boot_end == "killed",
        pause_check_ms=facts.pause_check_ms,
    )


def literal(data: bytes, generation: Generation, boot_ms: float, cost: tuple[int, int] = (0, 0)) -> Played:
    number = GENERATIONS.index(generation) + 1
    return play(data, number, boot_ms=boot_ms, decode_ms=cost[0], draw_ms=cost[1])


def first_seen_ms(played: Played) -> float | None:
    return next((drawn.at_ms for drawn in played.drawn if drawn.part is not None), None)


@settings(
    max_examples=examples(1500),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=archives(), generation=st.sampled_from(GENERATIONS), cost=COSTS, boot_ms=st.integers(1, 9000))
def test_pictures_moments_and_delay_are_those_of_the_literal_player(
    bundle_of: Any, data: bytes, generation: Generation, cost: tuple[int, int], boot_ms: int
) -> None:
    ahead_ms = first_seen_ms(literal(data, generation, LONG_MS, cost))
    if ahead_ms is None:
        return
    desc, parts = read_as(bundle_of(data), generation)
    first = next(i for i, p in enumerate(parts) if p.frames)
    if any(p.row.count == 0 for p in parts[:first]):
        return  # the first frame appears after the boot, so that no time can be counted from it
    timeline = Timeline(tuple(p.taken for p in parts), pacing(generation, desc.fps, cost), boot_ms / 1000)
    played = literal(data, generation, ahead_ms + boot_ms, cost)
    wanted = [
        (span.part, span.frame, span.play, span.start_ms - ahead_ms)
        for span in played.spans()
        if span.part is not None and (span.end_ms is None or span.end_ms - span.start_ms > NEAR_MS)
    ]
    pictures = [
        (number, list(spans)) for number, spans in groupby(timeline.shown(), lambda s: (s.part, s.frame, s.play))
    ]
    shown = [
        (row, parts[row].frames[frame].rpartition("/")[2], number, spans[0].start_s * 1000)
        for (row, frame, number), spans in pictures
        if (spans[-1].end_s - spans[0].start_s) * 1000 > NEAR_MS
    ]
    assert [s[:3] for s in shown] == [w[:3] for w in wanted]
    assert [s[3] for s in shown] == pytest.approx([w[3] for w in wanted], abs=NEAR_MS)
    assert timeline.lets_go == (played.delay_ms is not None)
    if played.delay_ms is not None:
        assert timeline.delay_s * 1000 == pytest.approx(played.delay_ms, abs=NEAR_MS)


@settings(
    max_examples=examples(500),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=archives(), generation=st.sampled_from(GENERATIONS))
def test_memory_is_that_of_counting_the_literal_players_textures(
    bundle_of: Any, data: bytes, generation: Generation
) -> None:
    """In a start in which every part that can play does."""
    played = literal(data, generation, LONG_MS)
    _, parts = read_as(bundle_of(data), generation)
    if played.released_ms is None or any(not p.frames for p in parts):
        return  # what comes after a part that is never left takes no memory, and the package need not say how much
    found = memory.held([p.taken for p in parts], SIZE, of_generation(generation))
    assert found.peak == played.peak_bytes


@settings(
    max_examples=examples(500),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=archives(), boots=st.lists(st.integers(1, 9000), min_size=3, max_size=6))
def test_verdicts_are_those_of_the_literal_player(bundle_of: Any, data: bytes, boots: list[int]) -> None:
    bundle = bundle_of(data)
    verdict = look(bundle.entries, bundle.desc, None, bundle.trims)
    for generation, view in verdict.by_generation.items():
        played = [literal(data, generation, boot_ms) for boot_ms in (*boots, LONG_MS)]
        assert view.shown == played[-1].shown, generation
        delays = [math.inf if p.delay_ms is None else p.delay_ms / 1000 for p in played]
        assert max(delays) <= view.delay_s + NEAR_MS / 1000, generation
        assert math.isinf(view.delay_s) >= math.isinf(max(delays)), generation


# -- spoiled archives --------------------------------------------------------------------------------

HEAD = f"{SIZE[0]} {SIZE[1]} 10\n"
ROWS = "p 1 0 a\np 0 0 b\n"


def files(desc: bytes, *more: File, a: bytes | None = None, deflated: tuple[str, ...] = ()) -> list[File]:
    """A sound archive of two parts: its desc.txt first, `more` after it. `a`: another picture 2 of part a."""
    pictures = {f"{folder}/{n:04}.png": png(*SIZE, seed=n) for folder in "ab" for n in (1, 2, 3)}
    if a is not None:
        pictures["a/0002.png"] = a
    entries = {"desc.txt": desc, **pictures}
    packed = [File(name.encode(), data, name.startswith(deflated)) for name, data in entries.items()]
    return [*packed, *more]


SOUND = (HEAD + ROWS).encode()
SPOILED: dict[str, bytes] = {
    "sound": zip_of(files(SOUND)),
    "desc deflated": zip_of(files(SOUND, deflated=("desc.txt",))),
    "frames deflated": zip_of(files(SOUND, deflated=("a/", "b/"))),
    "everything deflated": zip_of(files(SOUND, deflated=("a/", "b/", "desc.txt"))),
    "the endless part deflated": zip_of(files(SOUND, deflated=("b/",))),
    "bytes before": zip_of(files(SOUND), before=b"#!"),
    "zipped with its folder": zip_of([File(b"van/" + f.name, f.data) for f in files(SOUND)]),
    "a byte-order mark": zip_of(files(b"\xef\xbb\xbf" + SOUND)),
    "carriage returns": zip_of(files(SOUND.replace(b"\n", b"\r\n"))),
    "no last newline": zip_of(files(SOUND[:-1])),
    "one row, not ended": zip_of(files((HEAD + "p 0 0 a").encode())),
    "UTF-16": zip_of(files(SOUND.decode().encode("utf-16"))),
    "a zero byte": zip_of(files(SOUND.replace(b"p 0", b"\0p 0"))),
    "a picture twice": zip_of(files(SOUND, File(b"a/0001.png", png(*SIZE, seed=9)))),
    "desc twice": zip_of(files(SOUND, File(b"desc.txt", SOUND))),
    "a long name": zip_of(files(SOUND, File(b"a/" + b"9" * 260 + b".png", png(*SIZE)))),
    "no size": zip_of(files(ROWS.encode())),
    "a rate of nought": zip_of(files((f"{SIZE[0]} {SIZE[1]} 0\n" + ROWS).encode())),
    "a broken rate": zip_of(files((f"{SIZE[0]} {SIZE[1]} 29.97\n" + ROWS).encode())),
    "no rows": zip_of(files(HEAD.encode())),
    "rows that begin with a blank": zip_of(files((HEAD + " p 1 0 a\n\tp 0 0 b\n").encode())),
    "a comment": zip_of(files((HEAD + "# the lamps\n" + ROWS).encode())),
    "unknown types": zip_of(files((HEAD + "q 1 0 a\nx 0 0 b\n").encode())),
    "must finish": zip_of(files((HEAD + "c 1 0 a\np 0 0 b\n").encode())),
    "an endless row first": zip_of(files((HEAD + "p 0 0 b\np 1 0 a\n").encode())),
    "an endless row of nothing": zip_of(files((HEAD + "p 0 0 ghost\n").encode())),
    "an endless row of nothing, last": zip_of(files((HEAD + "p 1 0 a\np 0 0 ghost\n").encode())),
    "an endless row of nothing with a pause": zip_of(files((HEAD + "p 0 9 ghost\n").encode())),
    "a capital letter": zip_of(files((HEAD + "p 1 0 A\np 0 0 B\n").encode())),
    "a long pause": zip_of(files((HEAD + "p 1 30 a\np 0 30 b\n").encode())),
    "a fade": zip_of(files((HEAD + "f 0 0 a 20 #102030\n").encode())),
    "a fade without its number": zip_of(files((HEAD + "f 0 0 a #102030\n").encode())),
    "a c row after a fade": zip_of(files((HEAD + "f 0 0 a 4\nc 1 0 b\n").encode())),
    "never plays": zip_of(files((HEAD + "p -1 0 a\np 0 0 b\n").encode())),
    "16 bits": zip_of(files(SOUND, a=png(*SIZE, bits=16))),
    "see-through": zip_of(files(SOUND, a=png(*SIZE, colour=6))),
    "litter that sorts first": zip_of(files(SOUND, File(b"a/.DS_Store", b"litter"))),
    "litter that is deflated": zip_of(files(SOUND, File(b"a/Thumbs.db", b"litter", True))),
    "a part of text alone": zip_of(
        [File(b"desc.txt", SOUND), File(b"a/notes.txt", b"text"), File(b"b/1.png", png(*SIZE))]
    ),
    "nothing at all": zip_of([]),
    "only desc": zip_of([File(b"desc.txt", SOUND)]),
}


@pytest.mark.parametrize("generation", GENERATIONS)
@pytest.mark.parametrize("name", SPOILED)
def test_spoiled_archives_are_seen_as_the_literal_player_sees_them(
    bundle_of: Any, name: str, generation: Generation
) -> None:
    data = SPOILED[name]
    bundle = bundle_of(data)
    verdict = look(bundle.entries, bundle.desc, None, bundle.trims, bytes_before=bundle.bytes_before)
    view = verdict.by_generation[generation]
    played = [literal(data, generation, boot_ms) for boot_ms in (1, 450, 1234, 2750, LONG_MS)]
    assert view.shown == played[-1].shown
    assert math.isinf(view.delay_s) == any(p.delay_ms is None for p in played)
    assert max(p.delay_ms or 0.0 for p in played) <= view.delay_s * 1000 + NEAR_MS
    if played[-1].crashed:
        assert any("crash" in reason.what for reason in view.reasons)
    else:
        assert not any("crash" in reason.what for reason in view.reasons)
    if not view.shown or math.isinf(view.delay_s):
        assert any(reason.kind is Kind.REFUSE for reason in view.reasons)
    if name == "sound":
        assert view.reasons == ()


@pytest.mark.parametrize("generation", GENERATIONS)
@pytest.mark.parametrize("litter", ["Thumbs.db", "notes.txt", "audio.wav", "trim.txt"])
def test_litter_in_a_part_is_a_frame_where_the_literal_player_takes_it_for_one(
    bundle_of: Any, litter: str, generation: Generation
) -> None:
    data = zip_of(files(SOUND, File(b"a/" + litter.encode(), b"10x10+0+0\n")))
    _, parts = read_as(bundle_of(data), generation)
    bundle = bundle_of(data)
    view = look(bundle.entries, bundle.desc, None, bundle.trims).by_generation[generation]
    played = literal(data, generation, LONG_MS)
    counts = any(name.endswith(litter) for name in parts[0].frames)
    assert counts == (played.crashed or any(drawn.file == litter for drawn in played.drawn))
    assert played.crashed == any("crash" in reason.what for reason in view.reasons)
