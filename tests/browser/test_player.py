"""The sheet's player shows what the radio shows: its arithmetic against the package's, and against cases by hand."""

from __future__ import annotations

import base64
import io
import random
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest
from PIL import Image, ImageChops

from keyturn.pages.schedule import schedule
from keyturn.pages.sheet import Beside, sheet
from keyturn.radio.timeline import Pacing, PlayedPart, Timeline
from keyturn.shop.records import PlayerPicture, PlayerRecord, RadioPlayer

pytestmark = pytest.mark.browser

Open = Callable[..., Any]

JOBS: list[tuple[PlayedPart, ...]] = [
    (PlayedPart("p", 1, 6, 48), PlayedPart("p", 0, 0, 1)),
    (PlayedPart("p", 2, 3, 5), PlayedPart("c", 1, 2, 7), PlayedPart("p", 0, 0, 4)),
    (PlayedPart("p", 3, 0, 4), PlayedPart("p", 1, 9, 2)),  # over before most boots
    (PlayedPart("c", 2, 5, 6), PlayedPart("p", 0, 4, 3), PlayedPart("c", 1, 0, 5)),  # a c part after the endless one
    (PlayedPart("p", 0, 7, 5),),
    (PlayedPart("p", 1, 0, 3), PlayedPart("c", 0, 2, 4), PlayedPart("f", 2, 1, 3)),
    (PlayedPart("p", 10, 1, 1), PlayedPart("f", 1, 0, 9), PlayedPart("p", 0, 1, 2)),
]
PACINGS = [
    Pacing(12, "additive", 0.0181559),
    Pacing(15, "fixed-beat", 0.012),
    Pacing(30, "fixed-beat", 0.041),
    Pacing(7, "additive", 0.03, "seconds"),
    Pacing(12, "additive", 0.0181559, later_cost_s=0.004, killed=True),
    Pacing(15, "fixed-beat", 0.09, later_cost_s=0.02),
    Pacing(12, "fixed-beat", 0.012, later_cost_s=0.002, pause_check_ms=50),
]


def table(parts: tuple[PlayedPart, ...], pacing: Pacing) -> dict[str, Any]:
    """Return the schedule as the sheet embeds it. Each frame has a picture of its own."""
    rows, first = [], 0
    for part in parts:
        order = list(range(first, first + part.frames))
        first += part.frames
        row = {
            "type": part.type,
            "count": part.count,
            "pause_s": pacing.pause_s(part.pause),
        }
        rows.append(row | {"order": order})
    times = {
        "interval_s": pacing.interval_s,
        "later_interval_s": pacing.later_interval_s,
        "work_s": pacing.work_s,
        "later_work_s": pacing.later_work_s,
        "pause_check_s": pacing.pause_check_ms / 1000,
        "killed": pacing.killed,
    }
    return times | {"parts": rows, "logo": 0, "boot_s": 1.0}


ASK = """([schedule, boot, times]) => ({
  end: endOf(schedule, boot),
  shown: times.map(t => { const s = shownAt(schedule, t, boot); return s && [s.part, s.play, s.frame, s.pausing]; })
})"""


@pytest.fixture(scope="module")
def page_html(by_hand: ModuleType) -> str:
    job = by_hand.job()
    return sheet(job.customer, [(job, by_hand.proof(job))], by_hand.CAUTIONS)


@pytest.mark.parametrize("parts", JOBS)
def test_shown_at_agrees_with_the_packages_timeline_frame_for_frame(
    opened: Open, page_html: str, parts: tuple[PlayedPart, ...]
) -> None:
    """keyturn.radio.timeline is itself tested against the published loop of the reference player."""
    page = opened(page_html).page
    dice = random.Random(768)
    for pacing in PACINGS:
        for boot_s in [0.0, pacing.interval_s, 3 * pacing.interval_s, *(dice.uniform(0, 14) for _ in range(12))]:
            line = Timeline(parts, pacing, boot_s)
            # asked in the middle of each frame: its ends are whole nanoseconds, which a float cannot always hold
            spans = [(s, (s.start_s + s.end_s) / 2) for s in line.shown()]
            answer = page.evaluate(ASK, [table(parts, pacing), boot_s, [at for _, at in spans]])
            wanted = [[s.part, s.play, s.frame, s.pausing] for s, _ in spans if s.end_s > s.start_s]
            assert answer["shown"] == wanted
            assert answer["end"] == pytest.approx(line.end_s, abs=1e-9)


def test_shown_at_agrees_at_any_moment(opened: Open, page_html: str) -> None:
    page = opened(page_html).page
    dice = random.Random(1024)
    for parts in JOBS:
        for _ in range(8):
            pacing, boot_s = dice.choice(PACINGS), round(dice.uniform(0, 20), 1)
            times = [round(dice.uniform(-1, 24), 3) for _ in range(60)]
            answer = page.evaluate(ASK, [table(parts, pacing), boot_s, times])
            line = Timeline(parts, pacing, boot_s)
            seen = [line.at(t) for t in times]
            assert answer["shown"] == [s and [s.part, s.play, s.frame, s.pausing] for s in seen]


def test_twelve_beats_by_hand(opened: Open, page_html: str) -> None:
    """AOSP, cmds/bootanimation, format description: a `p` part stops when the boot ends, a `c` part plays on,
    the pause follows every play. Frames stand for 1 s and the boot ends at 2.5 s, so the player sees it at 3 s."""
    page = opened(page_html).page
    parts = [("p", 2, 1.0, [0, 1, 2, 3]), ("c", 1, 0.0, [4, 5])]
    rows = [{"type": t, "count": c, "pause_s": p, "order": o} for t, c, p, o in parts]
    ask = "([s, times]) => times.map(t => { const seen = shownAt(s, t, 2.5); return seen && seen.picture; })"
    answer = page.evaluate(ask, [{"interval_s": 1.0, "parts": rows}, [-0.5, 0.5, 1.5, 2.5, 3.5, 4.5, 5.5, 6.5]])
    assert answer == [None, 0, 1, 2, 2, 4, 5, None]  # frame 2 stands through the pause, then the c part, then over


def test_the_sheets_schedule_is_the_one_the_radio_plays(opened: Open, page_html: str, by_hand: ModuleType) -> None:
    job = by_hand.job()
    made = schedule(job.radios[0], by_hand.proof(job).radios[0])
    answer = opened(page_html).page.evaluate(ASK, [made, 16.0, [4.75, 4.85, 5.35, 15.95]])
    # 48 frames of 0.1 s, a rest of 0.5 s, then the hold: arithmetic
    assert answer["shown"] == [[0, 0, 47, False], [0, 0, 47, True], [1, 0, 0, False], [1, 106, 0, False]]


# -- the player on the page -------------------------------------------------------------------------


def canvas(page: Any) -> str:
    drawn: str = page.evaluate("document.querySelector('canvas').toDataURL()")
    return drawn


def with_starts(page: Any) -> Any:
    """The page with its start-up times unfolded."""
    page.locator("details.starts > summary").click()
    return page


def test_nothing_moves_until_play_is_pressed_and_then_it_does(opened: Open, page_html: str) -> None:
    page = opened(page_html, reduced_motion="reduce").page
    now = page.locator("[data-now]")
    page.wait_for_timeout(400)
    assert now.inner_text() == "boot logo"
    page.get_by_role("button", name="Play").click()
    now.filter(has_text="picture").wait_for()
    page.get_by_role("button", name="Pause").click()
    halted = now.inner_text()
    page.wait_for_timeout(300)
    assert now.inner_text() == halted


def test_the_moment_can_be_chosen_and_the_picture_follows(opened: Open, page_html: str) -> None:
    page = opened(page_html).page
    page.locator("canvas[width='90']").wait_for()  # the canvas has the pictures' size once they are loaded
    logo = canvas(page)
    moment = page.locator("[data-moment]")
    moment.fill("2.05")
    assert page.locator("[data-now]").inner_text() == "2.0 s: picture 21 of 49"
    assert canvas(page) != logo
    moment.fill("20.4")
    assert page.get_by_text("Home screen", exact=True).first.is_visible()


def test_dragging_the_start_up_time_shows_the_cut(opened: Open, page_html: str) -> None:
    page = with_starts(opened(page_html).page)
    boot, caption = page.locator("[data-boot]"), page.locator("[data-caption]")
    assert caption.inner_text() == "A start of 19.0 s: nothing is cut; picture 49 of 49 is standing still."
    boot.fill("3")
    # the boot ends at 3.0 s, where frame 30 ends: a `p` part shows no frame after that
    assert caption.inner_text() == "A start of 3.0 s: the radio cuts in at picture 30 of 49, in mid-motion."
    assert page.locator("[data-now]").inner_text() == "3.0 s: picture 30 of 49"
    boot.press("ArrowRight")
    assert "A start of 3.1 s" in caption.inner_text()


def test_a_button_sets_a_usual_start_and_says_which_is_chosen(opened: Open, page_html: str) -> None:
    page = with_starts(opened(page_html).page)
    shortest, usual = (page.get_by_role("button", name=name) for name in ("shortest", "usual"))
    assert usual.get_attribute("aria-pressed") == "true"
    shortest.click()
    assert (shortest.get_attribute("aria-pressed"), usual.get_attribute("aria-pressed")) == ("true", "false")
    assert page.locator("[data-boot-now]").inner_text() == "16.0 s"


def test_a_part_that_plays_to_its_end_is_said_to_delay_the_home_screen(opened: Open, by_hand: ModuleType) -> None:
    parts = (by_hand.part("gate", 48, type="c"), by_hand.part("hold", 1, count=0))
    job = by_hand.job(by_hand.radio(parts=parts))
    page = with_starts(opened(sheet(job.customer, [(job, by_hand.proof(job))], ())).page)
    page.locator("[data-boot]").fill("2.8")
    wanted = "booted at picture 29 of 49, which plays to its end: the home screen comes 2.0 s later."
    assert page.locator("[data-caption]").inner_text() == f"A start of 2.8 s: {wanted}"


def test_the_player_runs_to_the_home_screen_and_can_be_played_again(opened: Open, by_hand: ModuleType) -> None:
    parts = (by_hand.part("blink", 3), by_hand.part("hold", 1, count=0))
    job = by_hand.job(by_hand.radio(parts=parts, timeline=by_hand.timeline(boot_usual_s=1.0, boot_shortest_s=0.8)))
    page = opened(sheet(job.customer, [(job, by_hand.proof(job))], ())).page
    page.locator("[data-moment]").fill("0")
    page.get_by_role("button", name="Play").click()
    page.get_by_role("button", name="Play again").wait_for()
    assert page.get_by_text("Home screen", exact=True).first.is_visible()


def data_uri(picture: Image.Image) -> str:
    file = io.BytesIO()
    picture.save(file, "PNG")
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode("ascii")


def test_a_box_is_drawn_at_its_place_over_its_base(opened: Open, by_hand: ModuleType) -> None:
    """Against Pillow, which pastes the same boxes: a box on a whole picture, and a box on a box."""
    size, job = (54, 72), by_hand.job()
    base = Image.linear_gradient("L").resize(size).convert("RGB")
    red, blue = Image.new("RGB", (9, 7), (200, 10, 10)), Image.new("RGB", (5, 5), (10, 10, 200))
    boxes = {1: (0, red, 20, 30), 2: (1, blue, 4, 60)}
    pictures = [PlayerPicture(number=n, data=data_uri(base)) for n in range(48) if n not in boxes]
    for number, (on, box, left, top) in boxes.items():
        pictures.append(PlayerPicture(number=number, data=data_uri(box), base=on, left=left, top=top))
    radio = RadioPlayer(radio=job.radios[0].radio, logo=0, width=size[0], height=size[1], pictures=tuple(pictures))
    beside = Beside(player=lambda record, most: PlayerRecord(radios=(radio,)))
    page = opened(sheet(job.customer, [(job, by_hand.proof(job))], (), beside=beside)).page
    page.locator(f"canvas[width='{size[0]}']").wait_for()
    page.locator("[data-moment]").fill("0.25")  # frame 3, of 0.1 s each
    with Image.open(io.BytesIO(base64.b64decode(canvas(page).partition(",")[2]))) as shown:
        drawn = shown.convert("RGB")
    wanted = base.copy()
    wanted.paste(red, (20, 30))
    wanted.paste(blue, (4, 60))
    assert ImageChops.difference(drawn, wanted).getbbox() is None
