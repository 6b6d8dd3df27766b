"""Records and small drawn pictures made by hand, as the pipeline would give them to the pages."""

from __future__ import annotations

import base64
import io
from functools import cache
from typing import Any

from PIL import Image, ImageDraw

from keyturn.pages.sheet import sheet
from keyturn.shop.papers import Letterhead
from keyturn.shop.reasons import Reason, mended, note, refuse
from keyturn.shop.records import (
    FileRecord,
    FlashRecord,
    HandoffRecord,
    JobRecord,
    MemoryRecord,
    PaceRow,
    PartRecord,
    ProofRecord,
    RadioProof,
    RadioRecord,
    Rejection,
    TimelineRecord,
)
from keyturn.shop.state_records import PLACES, PlacedJob, Ready, RefusedDrop, ShopState, Waiting, Working

HOSTILE = "<script>alert('x')</script> \"quoted\" & \u202egnihctaw\u202c \u05e9\u05dc\u05d5\u05dd \U0001f69a "
HOSTILE += "W" * (200 - len(HOSTILE))
"""200 characters: markup, both quotes, an override of the reading direction, Hebrew, an emoji, one very long word."""

CAUTIONS = ("The flash check is a screening aid, not a medical clearance.", "Moving pictures belong to the start only.")
INTERVAL_S = 0.1  # 12 fps and 16.7 ms for decoding and drawing, rounded for the eye


LETTERHEAD = Letterhead(
    "Lantern <Row>",
    ("2 Mühlgasse",),
    "555-0100",
    "shop@example.org",
    "https://example.org",
    "data:image/png;base64,QQ==",
)
LETTERHEAD_FACTS = (
    "Lantern &lt;Row&gt;",
    "2 Mühlgasse",
    "555-0100",
    'href="mailto:shop@example.org"',
    'href="https://example.org"',
    'src="data:image/png;base64,QQ=="',
)
"""How a page shows it."""


@cache
def picture(number: int, size: tuple[int, int] = (90, 120), lamp: str = "#f0c552") -> str:
    """Return frame `number` of a lamp that rises over a gradient, as a data URI."""
    width, height = size
    sky = Image.linear_gradient("L").resize(size)
    image = Image.composite(Image.new("RGB", size, "#2c4a5e"), Image.new("RGB", size, "#0b1d2a"), sky)
    draw = ImageDraw.Draw(image)
    middle, y = width / 2, height * (0.9 - 0.013 * number)
    draw.ellipse((middle - width / 6, y - width / 6, middle + width / 6, y + width / 6), fill=lamp)
    draw.rectangle((0, height * 0.88, width, height), fill="#16332b")
    file = io.BytesIO()
    image.save(file, "WEBP", quality=70)
    return "data:image/webp;base64," + base64.b64encode(file.getvalue()).decode("ascii")


def part(path: str, frames: int, count: int = 1, **more: Any) -> PartRecord:
    made = {"type": "p", "pause": 0, "pause_s": 0.0, "art": f"{path}/*.png"} | more
    return PartRecord(path=path, frames=frames, count=count, **made)


LAMPS = (part("lamps", 48, pause=6, pause_s=0.5), part("hold", 1, count=0, art="lamps/0048.png"))


def timeline(**more: Any) -> TimelineRecord:
    made = {
        "interval_s": INTERVAL_S,
        "once_only_s": 4.8,
        "share_finished": 1.0,
        "finish_wanted": 0.95,
        "boot_shortest_s": 16.0,
        "boot_usual_s": 19.0,
        "boot_longest_s": 21.0,
        "hold_usual_s": 14.2,
        "hold_shortest_s": 11.2,
        "hold_longest_s": 16.2,
        "delay_s": 0.0,
        "on_screen_at_cut": "frame 1 of 1 of hold, at rest",
        "alternatives": tuple(
            PaceRow(fps=fps, once_only_s=48 * (1 / fps + 1 / 60), share_finished=1.0, hold_usual_s=15 - 36 / fps)
            for fps in range(9, 16)
        ),
    }
    return TimelineRecord(**(made | more))


def radio(name: str = "tall-768x1024", size: tuple[int, int] = (768, 1024), **more: Any) -> RadioRecord:
    made: dict[str, Any] = {
        "radio": name,
        "title": f"Tall panel, {size[0]} x {size[1]}",
        "width": size[0],
        "height": size[1],
        "bits": 24,
        "folder": "usb",
        "desc": f"{size[0]} {size[1]} 12\np 1 6 lamps\np 0 0 hold\n",
        "fps": 12,
        "parts": LAMPS,
        "timeline": timeline(),
        "flash": FlashRecord(
            passes=True,
            general_max_per_s=2,
            red_max_per_s=0,
            most_per_s=3,
            worst_at_s=1.4,
            per_second=((0.0, 1, 0), (1.0, 2, 0), (3.0, 1, 0)),
        ),
        "memory": MemoryRecord(peak_mib=4.0, allowed_mib=256.0),
        "handoff": HandoffRecord(share_changed=0.0, mean_difference=0.0),
        "files": (
            FileRecord(path="bootanimation.zip", size=9_437_184, sha256="ab" * 32),
            FileRecord(path="logo.png", size=204_800, sha256="0c" * 32),
        ),
        "zip_bytes": 9_437_184,
        "zip_allowed_bytes": 62_914_560,
        "reasons": (
            mended("frames-renumbered", "48 frames were renumbered with leading zeros", file="lamps"),
            note("enlarged", "the logo was enlarged 1.5 times", "draw it larger", file="logo.png"),
        ),
    }
    return RadioRecord(**(made | more))


def job(*radios: RadioRecord, **more: Any) -> JobRecord:
    made: dict[str, Any] = {
        "keyturn": "0.1.0",
        "customer": "Fern Hollow Mobile Library",
        "job": "van-two",
        "artist": "Ines",
        "drop": "van-two",
        "claim": "0123456789abcdef",
        "digest": "d1" * 32,
        "made_at": "2026-03-01T09:30:00+00:00",
        "revision": 1,
        "radios": radios or (radio(),),
        "reasons": (mended("junk-ignored", "2 files that are not art were left out", file=".DS_Store"),),
    }
    return JobRecord(**(made | more))


def radio_proof(of: RadioRecord, size: tuple[int, int] = (90, 120), **more: Any) -> RadioProof:
    """Return pictures for `of`. The first part has frames of its own, the others show its last; frame 1 is the logo."""
    frames = of.parts[0].frames
    orders = [tuple(range(frames)), *(tuple(frames - 1 for _ in range(p.frames)) for p in of.parts[1:])]
    made: dict[str, Any] = {
        "radio": of.radio,
        "logo": picture(0, size),
        "frames": tuple(picture(i, size) for i in range(frames)),
        "order": tuple(orders),
        "changes": tuple(tuple(0.02 if i else 0.0 for i in range(len(order))) for order in orders),
    }
    return RadioProof(**(made | more))


def proof(of: JobRecord, size: tuple[int, int] = (90, 120)) -> ProofRecord:
    return ProofRecord(radios=tuple(radio_proof(r, size) for r in of.radios))


def sheet_of(made: JobRecord, shown: ProofRecord | None = None) -> str:
    """Return the sheet of one job, with `proof(made)` where nothing else is to be shown."""
    return sheet(made.customer, [(made, proof(made) if shown is None else shown)], CAUTIONS)


def reasons() -> tuple[Reason, ...]:
    return (
        refuse(
            "manifest-key-unknown",
            'there is no key "custmer"',
            'did you mean "customer"?',
            file="job.toml",
            field="custmer",
        ),
        refuse("frames-doubled", "frame 12 is there twice", "take one of them out", file="lamps/0012 (1).png"),
        refuse("picture-broken", "cannot be read to its end", "save it again", file="lamps/0012 (1).png"),
        refuse("no-art", "no pictures were found", "put at least one picture in"),
        mended("junk-ignored", "2 files that are not art were left out", file=".DS_Store"),
        note("enlarged", "the logo was enlarged 1.5 times", file="logo.png"),
    )


def rejection(**more: Any) -> Rejection:
    made: dict[str, Any] = {
        "keyturn": "0.1.0",
        "drop": "van-three",
        "claim": "0123456789abcdef",
        "customer": "Fern Hollow Mobile Library",
        "rejected_at": "2026-03-01T09:31:00+00:00",
        "reasons": reasons(),
        "pictures": {"lamps/0012 (1).png": picture(12)},
    }
    return Rejection(**(made | more))


def state(**more: Any) -> ShopState:
    made: dict[str, Any] = {
        "at": "2026-03-01T09:32:00+00:00",
        "running": True,
        "pid": 4711,
        "watching": "inbox, by events and a scan every 10 s",
        "waiting": (
            Waiting(name="van-four", files=50, since="2026-03-01T09:31:50+00:00", rush=True),
            Waiting(name="stall", files=3, since="2026-03-01T09:31:55+00:00", note="still being copied"),
        ),
        "working": (Working(name="van-five", stage="frames", done=17, total=48, since="2026-03-01T09:31:40+00:00"),),
        "ready": (
            Ready(
                customer="Fern Hollow Mobile Library",
                job="van-two",
                revision=2,
                radios=("tall-768x1024", "wide-1024x600"),
                path="fern-hollow-mobile-library/van-two-r2",
                made_at="2026-03-01T09:30:00+00:00",
            ),
        ),
        "refused": (
            RefusedDrop(
                name="van-three",
                customer="Fern Hollow Mobile Library",
                path="rejects/van-three",
                rejected_at="2026-03-01T09:31:00+00:00",
                reasons=reasons(),
            ),
        ),
        "ready_total": 1,
        "refused_total": 1,
    }
    return ShopState(**(made | more))


def long_job(frames: int = 120) -> JobRecord:
    parts = (part("lamps", frames, pause=6, pause_s=0.5), part("hold", 1, count=0))
    return job(radio(parts=parts, timeline=timeline(once_only_s=frames * INTERVAL_S)))


SAID = ("Marta: the lamps are too yellow", "yes from Ada", "on VAN at /media/van", "shown to Ada", "by Tobias")


def placed_jobs(most: int, **more: Any) -> tuple[PlacedJob, ...]:
    """Jobs in all places in turn, for two customers and two radios."""
    made = []
    for number in range(most):
        place = tuple(PLACES)[number % len(PLACES)]
        told = {
            "customer": ("Fern Hollow Mobile Library", "Quarry Bakery")[number % 2],
            "job": f"van-{number}",
            "revision": 1,
            "radios": ("tall-768x1024", "wide-1024x600")[: 1 + number % 2],
            "path": f"c/van-{number}-r1",
            "made_at": "2026-03-01T09:30:00+00:00",
            "picture": "held.webp",
            "place": place,
            "since": "2026-03-02T09:30:00+00:00",
            "said": SAID[number % len(PLACES)],
        }
        made.append(PlacedJob.model_validate(told | more))
    return tuple(made)
