"""What is fed with anything at all: every reader of what artists, operators and passers-by may leave in a shop.

A target takes bytes and returns; it raises only where Keyturn is wrong. What a reader may say of bad input
(`Refused`, `ShopFault`, `Broken`) is caught here, and nothing else is.
"""

from __future__ import annotations

import atexit
import base64
import gzip
import io
import json
import shutil
import tarfile
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from PIL import Image

import font_samples
from faults.scenarios import shop_in
from keyturn.commands.archive_reader import read_bundle
from keyturn.flatten import lettering
from keyturn.flatten.fonts import FontFile
from keyturn.flatten.lettering import TextLook
from keyturn.flatten.set_words import WordsJob, set_words
from keyturn.inbox import unpack as unzip
from keyturn.manifest import reading
from keyturn.normalize.reading import clip_frames, stills
from keyturn.outbox import retention, shop_state
from keyturn.outbox.ledger import Ledger
from keyturn.radio import desc, inspect
from keyturn.service import recovery
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.service.drop_folders import DropFolders
from keyturn.shop import label_code, rulebook, settings, slips
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Refused, ShopFault
from keyturn.shop.records import JobRecord, ProofRecord, Rejection
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import KeepSettings

NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None


@cache
def rules() -> Rulebook:
    return rulebook.load()


@contextmanager
def _folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="keyturn-fuzz-", dir=MEMORY) as place:
        yield Path(place)


@contextmanager
def _file(data: bytes) -> Iterator[Path]:
    with _folder() as place:
        (place / "file").write_bytes(data)
        yield place / "file"


def read_manifest(data: bytes) -> None:
    with suppress(Refused):
        reading.parse(data)
    read, _ = reading.parse_leniently(data)
    if read is not None:
        read.model_dump_json()


def read_desc(data: bytes) -> None:
    desc.parse(data)
    inspect.look([], data, rules().radios["tall-768x1024"])


def inspect_bundle(data: bytes) -> None:
    with _file(data) as path, suppress(Refused):
        found = read_bundle(path, rules().intake.caps)
        inspect.look(found.entries, found.desc, rules().radios["tall-768x1024"], found.trims)


def unpack(data: bytes) -> None:
    with _file(data) as path:
        into = path.parent / "into"
        into.mkdir()
        with suppress(Refused):
            unzip.unpack(path, into, rules().intake, name="file")
        assert {p.name for p in path.parent.iterdir()} == {"file", "into"}, "something has left its folder"
        assert not any(p.is_symlink() for p in into.rglob("*")), "a link was made"


def walk_cels(data: bytes) -> None:
    for form in ("GIF", "PNG", "WEBP"):
        file = io.BytesIO(data)
        with suppress(clip_frames.Broken):
            reel = clip_frames.walk(file, form, 50)
            for cel in reel.cels if reel else ():
                clip_frames.alone(file, reel, cel)


def probe(data: bytes) -> None:
    with _file(data) as path, suppress(Refused):
        stills.probe(path, rules().intake, name="file")


def pixels(data: bytes) -> None:
    """Of a still of any kind, decoded as in a worker."""
    with _file(data) as path, suppress(Refused):
        stills.load(path, rules().intake, name="file")


def read_settings(data: bytes) -> None:
    """As keyturn.toml, as a radio and as a rules file."""
    with _folder() as place:
        (place / "radios").mkdir()
        for name in ("keyturn.toml", "radios/own.toml", "safety.toml", "intake.toml", "usb.toml", "kinds.toml"):
            (place / name).write_bytes(data)
            with suppress(ShopFault):
                rulebook.load(place) if name != "keyturn.toml" else settings.load(place)
            (place / name).unlink()


RECORDS = (
    "outbox/c/van-r1/job.json",
    "outbox/c/van-r1/proof.json",
    "rejects/van/REJECTED.json",
    "work/20260301T093000-abc123-van/claim.json",
    "work/20260301T093000-abc123-van/publish.json",
    "work/20260301T093000-abc123-van/reject.json",
    "work/20260301T093000-abc123-van/return.json",
    "state/service.json",
)


def read_records(data: bytes) -> None:
    """The first byte says as which of a shop's records; then the shop is started, told of and pruned."""
    with _folder() as place:
        shop = Shop(place / "shop")
        shutil.copytree(_shop_with_records(), shop.root)
        (shop.root / RECORDS[data[0] % len(RECORDS) if data else 0]).write_bytes(data[1:])
        folders = DropFolders(shop, lambda: NOW)
        ledger = Ledger.opened(shop.state / "ledger.sqlite3")[0]
        books = Bookkeeping(shop, ledger, rules())
        shop_state.write_board(shop, shop_state.current_state(shop))
        recovery.recover(folders)
        books.reconcile()
        ledger.ready(), ledger.refused()
        retention.prune(shop, KeepSettings(archive_days=1, archive_gib=1, rejects_days=1, rejects_gib=1), NOW)
        kept = [p for folder in (shop.work, shop.inbox, shop.archive, shop.rejects) for p in folder.rglob("art.png")]
        assert kept, "the drop in work is lost"


@cache
def _shop_with_records() -> Path:
    place = Path(tempfile.mkdtemp(prefix="keyturn-fuzz-", dir=MEMORY))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    shop = shop_in(place / "shop")
    for name in RECORDS:
        (shop.root / name).parent.mkdir(parents=True, exist_ok=True)
    drop = shop.root / RECORDS[3].replace("claim.json", "drop")
    drop.mkdir()
    (drop / "art.png").write_bytes(b"art")
    for number, text in enumerate(_records()):
        if number in (0, 1, 2, 3, 7):  # intents would move the drop
            (shop.root / RECORDS[number]).write_text(text)
    return shop.root


def _records() -> tuple[str, ...]:
    """A good one of each."""
    job = JobRecord(
        keyturn="0", customer="C", job="van", artist="Ines", drop="van", claim="20260301T093000-abc123-van",
        digest="d", made_at=NOW.isoformat(), revision=1, radios=(),
    )  # fmt: skip
    reasons = [{"code": "a-b", "kind": "refuse", "what": "w", "mend": "m", "file": "f.png", "field": None}]
    refused = {"keyturn": "0", "drop": "van", "claim": "c", "customer": "C", "rejected_at": NOW.isoformat()}
    claim = {"id": job.claim, "name": "van", "form": "folder", "claimed_at": NOW.isoformat(), "tries": 1}
    rejection = Rejection.model_validate(refused | {"reasons": reasons, "pictures": {"f.png": "data:,"}})
    intents = (json.dumps({"target": "c/van-r1", "archive": "c/van-r1--x"}), '{"target": "van"}', '{"target": "van"}')
    state = '{"at": "2026-03-01", "running": true, "waiting": [{"name": "a", "files": 1, "since": ""}]}'
    proof = ProofRecord(radios=()).model_dump_json()
    return (job.model_dump_json(), proof, rejection.model_dump_json(), json.dumps(claim), *intents, state)


def read_slip(data: bytes) -> None:
    with suppress(slips.SlipError):
        slips.found_in(data)


def read_label(data: bytes) -> None:
    code = label_code.parsed(data.decode("utf-8", "replace"))
    assert code is None or label_code.parsed(code.text()) == code


def set_in_font(data: bytes) -> None:
    """A text in letters of several kinds, set and drawn in the font as in a worker."""
    with _file(data) as path, suppress(Refused):
        job = WordsJob(
            "Fe ב\u05b8", (FontFile(path, "file"),), True, 600, "left", 0.5, 0.4, 40, (200, 100), 9, rules().intake
        )
        words = set_words(job).words
        lettering.drawn(words, TextLook((255, 255, 255), ((0, 0, 0), 0.1)), 40, 10**6, job.intake)


TARGETS: dict[str, Callable[[bytes], None]] = {
    "manifest": read_manifest,
    "desc": read_desc,
    "bundle": inspect_bundle,
    "unzip": unpack,
    "cels": walk_cels,
    "pixels": pixels,
    "probe": probe,
    "settings": read_settings,
    "records": read_records,
    "slip": read_slip,
    "label": read_label,
    "fonts": set_in_font,
}


# -- where to begin -------------------------------------------------------------------------------


def _zip(method: int, **entries: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in entries.items():
            archive.writestr(name.replace("__", "/").replace("_", "."), data)
    return out.getvalue()


def _tars() -> Iterator[bytes]:
    """A small drop as a tar, plain and packed."""
    for mode in ("w", "w:gz"):
        out = io.BytesIO()
        with tarfile.open(fileobj=out, mode=mode) as archive:  # type: ignore[call-overload]
            for name, data in (("van/job.toml", MANIFEST), ("van/lamps/0001.png", b"p")):
                info = tarfile.TarInfo(name)
                info.size = len(data)
                archive.addfile(info, io.BytesIO(data))
        yield out.getvalue()


def _picture(form: str, frames: int = 1, mode: str = "RGB") -> bytes:
    out = io.BytesIO()
    pictures = [Image.new(mode, (6, 5), n * 40 if mode in ("L", "P") else (n * 40,) * len(mode)) for n in range(frames)]
    clip = {"save_all": True, "append_images": pictures[1:], "duration": 50} if frames > 1 else {}
    pictures[0].save(out, form, **clip)
    return out.getvalue()


def _fonts() -> tuple[bytes, ...]:
    letters = {"F": 500, "e": 400, " ": 200, "ב": 600, "\u05b8": 100}
    plain = tuple(font_samples.font(letters, flavor=flavor) for flavor in (None, "woff", "woff2"))
    return *plain, font_samples.font(letters, weights=(100, 400, 900))


MANIFEST = b"""customer = "Fern Hollow Mobile Library"
radio = ["tall-768x1024"]
rush = true
background = "#0b1d2a"
fit = "contain"
[logo]
art = "logo.png"
[motion]
fps = "auto"
finish = 0.95
[[part]]
art = "lamps/*.png"
plays = "until-booted"
pause = 0.5
"""
PSD = b"8BPS\0\1" + bytes(6) + b"\0\3\0\0\0\2\0\0\0\2\0\x08\0\3" + bytes(12) + bytes(2 + 12)
PAM = b"P7\nWIDTH 2\nHEIGHT 1\nDEPTH 1\nMAXVAL 9\nENDHDR\n\3\7"
SVG = b"<svg xmlns='http://www.w3.org/2000/svg' width='3' height='4'/>"
DESC = b"48 64 12\np 1 6 part0 #0b1d2a\nc 2 0 part1\nf 0 0 part2\n"
SLIP = b"[keyturn-slip:" + base64.urlsafe_b64encode(
    b'{"kind":"answer","id":"0123abcd","customer":"C","job":"van","revision":1,"path":"c/van-r1","digest":"'
    + b"ab" * 32
    + b'","at":"","answer":"yes"}'
).rstrip(b"=") + b"]"  # fmt: skip


@cache
def seeds(target: str) -> tuple[bytes, ...]:
    """Good input, for mutations to start from."""
    clips = tuple(_picture(form, 3) for form in ("GIF", "PNG", "WEBP"))
    png = _picture("PNG")
    zips = tuple(
        _zip(method, desc_txt=DESC, part0__0001_png=png, part1__trim_txt=b"6x5+0+0\n", part1__0001_png=png)
        for method in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
    )
    others = *map(_picture, ("TGA", "ICO", "PPM", "JPEG2000", "QOI")), gzip.compress(SVG), PSD, b"P2 2 1 9\n3 7\n", PAM
    shipped = tuple(p.read_bytes() for p in sorted(rulebook.SHIPPED.rglob("*.toml")))
    return {
        "manifest": (MANIFEST,),
        "desc": (DESC,),
        "bundle": zips,
        "unzip": (*zips, *_tars(), _zip(zipfile.ZIP_DEFLATED, van__job_toml=MANIFEST, van__lamps__0001_png=png)),
        "cels": (*clips, png),
        "pixels": (*clips, png, *others),
        "probe": (*clips, png, *map(_picture, ("JPEG", "TIFF", "BMP", "GIF", "WEBP")), *others),
        "settings": (b"workers = 1\n[settle]\nseconds = 3\n[hooks]\nready = ['a']\n", *shipped),
        "records": tuple(bytes([n]) + text.encode() for n, text in enumerate(_records())),
        "fonts": _fonts(),
        "slip": (SLIP, b"Content-Transfer-Encoding: base64\n\n" + base64.encodebytes(SLIP)),
        "label": (b"keyturn:van-two-r2:3f9a0c1b22dd4e5f:3", b"keyturn:xn--ihqwcrb4cv8a8dqg056pqjye:3f9a0c1b22dd4e5f"),
    }[target]
