"""One contender doing one kind of art: `python contenders.py NAME KIND INPUT OUTPUT.zip FRAMES`.

`make` and `service` do a whole job: they judge it, write sheet, card and the stick's folder, and the player's pictures.
All do the same: fill a panel of 768 x 1024 from the middle of the picture, lay transparency on one ground,
write 8-bit RGB PNG (JPEG of quality 90 for photographs), and store the files in a zip. Keyturn alone makes
a thumbnail, cells for the flash check and a digest of every frame besides.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import grown
import measure

WIDE, HIGH = 768, 1024
GROUND = (11, 29, 42)
HEX = "#0b1d2a"
HEIGHTS = {"photographic": 1080, "samples": 1080, "flat": 1080, "sprites": 1080, "photos": 3000, "clip": 600}

Inputs = list[Path]
Task = Callable[[Any], Any]


def main(name: str, kind: str, folder: str, output: str, count: str) -> None:
    inputs = sorted(Path(folder).iterdir())[: int(count)]
    CONTENDERS[name](kind, inputs, Path(output), int(count))


def _suffix(kind: str) -> str:
    return ".jpg" if kind == "photos" else ".png"


# -- Keyturn ----------------------------------------------------------------------------------------


def keyturn(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    from keyturn.package.frame import make_frame

    _by_crew(make_frame, kind, inputs, output, count)


def keyturn_warm(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """As in a busy shop, whose workers stay: timed once each has made a frame."""
    from keyturn.package.frame import make_frame

    _by_crew(make_frame, kind, inputs, output, count, warm=True)


def keyturn_plain(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    import contenders

    _by_crew(contenders.make_plain, kind, inputs, output, count)


def make_plain(job: Any) -> Any:
    """A frame by Pillow, numpy and zlib alone."""
    from keyturn.package.frame import make_frame
    from keyturn.shop import fast_libraries

    fast_libraries.library = lambda name: None
    return make_frame(job)


def _by_crew(task: Task, kind: str, inputs: Inputs, output: Path, count: int, warm: bool = False) -> None:
    from keyturn.eye.screen import Screen
    from keyturn.flatten.frame_source import Source
    from keyturn.normalize.fit import Fit
    from keyturn.package import PRELOAD
    from keyturn.package.frame import FrameJob, Look
    from keyturn.package.zip_writer import ZipWriter
    from keyturn.renumber.order import frame_name
    from keyturn.shop import rulebook
    from keyturn.workers.crew import LocalCrew

    rules = rulebook.load()
    cell_px = Screen.of(rules.radios["tall-768x1024"].panel, rules.safety.flash).cell_px
    look = Look(Fit((WIDE, HIGH)), GROUND, 24, "jpeg" if kind == "photos" else "png", cell_px, 320)
    sources = [Source(path, path.name) for path in inputs]
    if kind == "clip":
        sources = [Source(inputs[0], inputs[0].name, i) for i in range(count)]
    jobs = [FrameJob(source, look, rules.intake) for source in sources]
    crew = LocalCrew(2, rules.intake.workers, PRELOAD)
    if warm:
        list(crew.run(task, jobs[-4:], lambda job: job.source.name))  # forgotten again before their turn comes
    wall, cpu = time.perf_counter(), measure.tree_cpu(os.getpid())
    with ZipWriter(output) as pack:
        for i, done in enumerate(crew.run(task, jobs, lambda job: job.source.name)):
            pack.add(f"part0/{frame_name(i, count, _suffix(kind))}", done.data)
    if warm:
        print(json.dumps([time.perf_counter() - wall, measure.tree_cpu(os.getpid()) - cpu]))
    crew.close()


def make(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """The command a person runs, in a fresh process that finds nothing kept, from its start until it ends."""
    with tempfile.TemporaryDirectory(prefix="keyturn-make-") as folder:
        scratch = Path(folder)
        drop = grown.lay(scratch / "van", inputs, _manifest())
        environment = {**os.environ, "XDG_CACHE_HOME": str(scratch / "cache")}
        cost, _ = measure.run([*grown.KEYTURN, "make", drop, "--out", scratch / "out"], environment, quiet=True)
        _repack(next((scratch / "out").rglob("bootanimation.zip")), output, count)
    print(json.dumps([cost.wall, cost.cpu]))


def service(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """A running service that finds nothing kept: from its claim of the drop to the published revision."""
    with tempfile.TemporaryDirectory(prefix="keyturn-service-") as folder:
        shop = grown.opened(Path(folder) / "shop")
        (shop.root / "keyturn.toml").write_text("[settle]\nseconds = 0.05\nclosed_seconds = 0.05\n")
        place = shop.outbox / grown.REGULAR_FOLDER
        with grown.service(shop) as process:
            warm = grown.lay(shop.root / "laying", grown.bars(Path(folder) / "bars", 6), _manifest())
            warm.rename(shop.inbox / "warm")
            grown.until((place / "warm-r1").exists)
            time.sleep(0.5)  # sheet, ledger and board follow
            laid = grown.lay(shop.root / "laying", inputs, _manifest())
            cpu = measure.tree_cpu(process.pid)
            laid.rename(shop.inbox / "van")
            grown.until(lambda: not (shop.inbox / "van").exists(), 0.004)
            start = time.perf_counter()
            grown.until((place / "van-r1").exists, 0.004)
            print(json.dumps([time.perf_counter() - start, measure.tree_cpu(process.pid) - cpu]))
        _repack(next((place / "van-r1").rglob("bootanimation.zip")), output, count)


def _manifest() -> str:
    return grown.manifest(more=f'background = "{HEX}"\n[motion]\nthin = true\n')


def _repack(made: Path, output: Path, count: int) -> None:
    """Store the first part's frames alone, as the others do."""
    with zipfile.ZipFile(made) as pack, zipfile.ZipFile(output, "w", zipfile.ZIP_STORED) as stored:
        for name in sorted(n for n in pack.namelist() if n.startswith("part0/") and not n.endswith(".txt"))[:count]:
            stored.writestr(name, pack.read(name))


def floor(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """What no program with these libraries can go below: their calls in a bare loop, in one process without start-up.

    kornia-rs or Pillow decodes, cykooz.resizer resizes, Keyturn's rows and zlib-ng encode. Nothing is checked,
    handed on, shown or judged.
    """
    frames = list(zip(_bare_frames(kind, inputs, 1), range(1), strict=True))  # what is loaded late is there now
    wall, cpu = time.perf_counter(), time.process_time()
    with zipfile.ZipFile(output, "w", zipfile.ZIP_STORED) as pack:
        for i, image in enumerate(_bare_frames(kind, inputs, count)):
            pack.writestr(f"part0/{i + 1:04d}{_suffix(kind)}", _bare_file(kind, image))
    assert frames
    print(json.dumps([time.perf_counter() - wall, time.process_time() - cpu]))


def _bare_frames(kind: str, inputs: Inputs, count: int) -> Iterator[Any]:
    from PIL import Image, ImageSequence

    from keyturn.shop import fast_libraries

    kornia = fast_libraries.library(fast_libraries.DECODE)
    for path in inputs[:count]:
        with Image.open(path) as opened:
            if path.suffix == ".png" and kornia:
                pixels = kornia.io.decode_image_png_u8(path.read_bytes(), opened.size[::-1], "rgba")
                yield Image.frombuffer("RGBA", opened.size, pixels, "raw", "RGBA", 0, 1)
                continue
            if kind == "photos":
                opened.draft(None, (2000, 1500))
            yield from (frame for frame, _ in zip(ImageSequence.Iterator(opened), range(count), strict=False))


def _bare_file(kind: str, image: Any) -> bytes:
    from PIL import Image

    from keyturn.normalize import scale
    from keyturn.package import jpeg_and_webp
    from keyturn.png import png_writer

    keep = image.height * WIDE / HIGH
    left = (image.width - keep) / 2
    box = (int(left), 0, int(left + keep) + 1, image.height)
    part = image.crop(box)
    if kind != "photos":
        part = part.convert("RGBA")
        ground = Image.new("RGB", part.size, GROUND)
        ground.paste(part, mask=part.getchannel("A"))
        part = ground
    made = scale.lanczos(part, (WIDE, HIGH), (left - box[0], 0.0, left - box[0] + keep, float(image.height)))
    return jpeg_and_webp.jpeg(made) if kind == "photos" else png_writer.png(made)


# -- Pillow, as one writes it at first --------------------------------------------------------------


def pillow(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """One process, full decode, level 6: the reference for size."""
    with tempfile.TemporaryDirectory() as made:
        for i, image in enumerate(_pillow_frames(inputs, count)):
            _pillow_frame(image).save(Path(made) / f"{i + 1:04d}{_suffix(kind)}", compress_level=6, quality=90)
        _zip(made, output)


def _pillow_frames(inputs: Inputs, count: int) -> Iterator[Any]:
    from PIL import Image, ImageSequence

    for path in inputs:
        with Image.open(path) as image:
            for frame, _ in zip(ImageSequence.Iterator(image), range(count), strict=False):
                yield frame.convert("RGB" if image.format == "JPEG" else "RGBA")


def _pillow_frame(image: Any) -> Any:
    from PIL import Image, ImageOps

    fitted = ImageOps.fit(image, (WIDE, HIGH), Image.Resampling.LANCZOS)
    ground = Image.new("RGB", fitted.size, GROUND)
    ground.paste(fitted, mask=fitted.getchannel("A") if fitted.mode == "RGBA" else None)
    return ground


# -- mogrify ----------------------------------------------------------------------------------------


def mogrify(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    options = ["-background", HEX, "-alpha", "remove", "-alpha", "off", "-filter", "Lanczos"]
    options += ["-resize", f"{WIDE}x{HIGH}^", "-gravity", "center", "-extent", f"{WIDE}x{HIGH}"]
    _mogrify([], [*options, *(["-quality", "90"] if kind == "photos" else [])], kind, inputs, output, count)


def mogrify_tuned(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """Cropped first; PNG at level 1 with the sub filter; JPEG decoded at a half."""
    hint = ["-define", "jpeg:size=2000x1500"] if kind == "photos" else []
    high = HEIGHTS[kind] // (2 if kind == "photos" else 1)
    options = ["-gravity", "center", "-crop", f"{high * WIDE // HIGH}x{high}+0+0", "+repage"]
    options += ["-background", HEX, "-alpha", "remove", "-alpha", "off", "-filter", "Lanczos"]
    options += ["-resize", f"{WIDE}x{HIGH}!", "-quality", "90" if kind == "photos" else "11"]
    _mogrify(hint, options, kind, inputs, output, count)


def _mogrify(hint: list[str], options: list[str], kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """Two processes, half of the files each; a clip is one file and cannot be shared."""
    environment = {**os.environ, "MAGICK_THREAD_LIMIT": "1"}
    with tempfile.TemporaryDirectory() as made:
        if kind == "clip":
            whole = ["convert", f"{inputs[0]}[0-{count - 1}]", "-coalesce", *options, f"{made}/%04d.png"]
            subprocess.run(whole, env=environment, check=True)
        else:
            command = ["mogrify", *hint, "-path", made, *options]
            parts = [subprocess.Popen([*command, *half], env=environment) for half in (inputs[::2], inputs[1::2])]
            assert sum(part.wait() for part in parts) == 0, "mogrify failed"
        _zip(made, output)


# -- libvips ----------------------------------------------------------------------------------------


def vips(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    _by_two(kind, inputs, output, count, tuned=False)


def vips_tuned(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """Cropped and flattened first, cheapest compression that keeps files near level 6, JPEG shrunk on load."""
    _by_two(kind, inputs, output, count, tuned=True)


def _by_two(kind: str, inputs: Inputs, output: Path, count: int, tuned: bool) -> None:
    """Two processes of one thread each, every other frame to each."""
    with tempfile.TemporaryDirectory() as made:
        parts = []
        for share in (0, 1):
            if os.fork() == 0:
                _vips_share(kind, inputs, Path(made), count, share, tuned)
                os._exit(0)
            parts.append(share)
        for _ in parts:
            assert os.wait()[1] == 0, "libvips failed"
        _zip(made, output)


def _vips_share(kind: str, inputs: Inputs, made: Path, count: int, share: int, tuned: bool) -> None:
    os.environ["VIPS_CONCURRENCY"] = "1"
    import pyvips

    for i in range(share, count, 2):
        target = str(made / f"{i + 1:04d}{_suffix(kind)}")
        if kind == "clip":
            image = pyvips.Image.new_from_file(str(inputs[0]), page=i, access="sequential")
        elif kind == "photos" and tuned:
            image = pyvips.Image.new_from_file(str(inputs[i]), shrink=2, access="sequential")
        else:
            image = pyvips.Image.new_from_file(str(inputs[i]), access="sequential")
        _vips_frame(image, tuned).write_to_file(target, **_vips_saving(kind, tuned))


def _vips_frame(image: Any, tuned: bool) -> Any:
    if not tuned:
        image = image.thumbnail_image(WIDE, height=HIGH, crop="centre")
        return image.flatten(background=GROUND) if image.hasalpha() else image
    keep = round(image.height * WIDE / HIGH)
    image = image.crop((image.width - keep) // 2, 0, keep, image.height)
    image = image.flatten(background=GROUND) if image.hasalpha() else image
    return image.resize(WIDE / image.width, vscale=HIGH / image.height, kernel="lanczos3")


def _vips_saving(kind: str, tuned: bool) -> dict[str, object]:
    if kind == "photos":
        return {"Q": 90, "keep": "none"}
    if not tuned:
        return {"compression": 6, "keep": "none"}
    grained = kind in ("photographic", "samples")
    filters = "avg" if grained else "all" if kind == "clip" else "none"
    return {"compression": 1 if grained else 3, "filter": filters, "keep": "none"}


# -- ffmpeg -----------------------------------------------------------------------------------------


def ffmpeg(kind: str, inputs: Inputs, output: Path, count: int) -> None:
    """Two threads. It weighs see-through colours as if they were opaque, so edges can come out fringed."""
    source = inputs[0] if kind == "clip" else inputs[0].parent / f"%04d{inputs[0].suffix}"
    filters = f"crop=ih*{WIDE}/{HIGH}:ih,scale={WIDE}:{HIGH}:flags=lanczos"
    saving = ["-q:v", "3", "-pix_fmt", "yuvj444p"] if kind == "photos" else ["-pix_fmt", "rgb24", "-pred", "mixed"]
    if kind == "sprites":
        filters = f"[0:v]{filters}[a];color=0x{HEX[1:]}:s={WIDE}x{HIGH}[b];[b][a]overlay=format=rgb:shortest=1"
    with tempfile.TemporaryDirectory() as made:
        command = ["ffmpeg", "-v", "error", "-threads", "2", "-i", source, "-filter_complex", filters]
        command += ["-frames:v", str(count), "-fps_mode", "passthrough", "-threads", "2", *saving]
        subprocess.run([*command, f"{made}/%04d{_suffix(kind)}"], check=True)
        _zip(made, output)


def _zip(made: str, output: Path) -> None:
    with zipfile.ZipFile(output, "w", zipfile.ZIP_STORED) as pack:
        for path in sorted(Path(made).iterdir()):
            pack.write(path, f"part0/{path.name}")


CONTENDERS: dict[str, Callable[[str, Inputs, Path, int], None]] = {
    "make": make,
    "service": service,
    "keyturn": keyturn,
    "keyturn-warm": keyturn_warm,
    "keyturn-plain": keyturn_plain,
    "floor": floor,
    "pillow": pillow,
    "mogrify": mogrify,
    "mogrify-tuned": mogrify_tuned,
    "vips": vips,
    "vips-tuned": vips_tuned,
    "ffmpeg": ffmpeg,
}

if __name__ == "__main__":
    main(*sys.argv[1:])
