"""The finished frames on disk, the parts they make, and the zip they go into."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.eye import motion
from keyturn.package.crop import Colour, Cut
from keyturn.package.frame import FrameDone
from keyturn.package.zip_writer import ZipWriter, zip_bytes
from keyturn.png.chunks import PNG_SIGNATURE
from keyturn.radio import desc, trim
from keyturn.radio.desc import Desc
from keyturn.radio.memory import Texture
from keyturn.renumber.order import frame_name
from keyturn.renumber.plan import Plan
from keyturn.shop.free_memory import give_back
from keyturn.shop.reasons import Reason
from keyturn.shop.units import MIB

# -- frames on disk ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StoredFile:
    """One file of a distinct picture: `size` bytes, which the store finds by their `start`.

    `name` is the picture's first source in the drop. `plain_bytes` is what it takes as a whole RGB file. `cut` says
    which box of the panel a cropped file fills; None for a whole one. `lost` is `eye.loss.lost` against the picture,
    0 where no pixel differs.
    """

    start: int
    size: int
    kind: Literal["png", "jpeg", "bmp"]
    palette: bool
    name: str = ""
    plain_bytes: int = 0
    photographic: bool = False
    cut: Cut | None = None
    lost: float = 0.0


HELD_BYTES = 64 * MIB
"""So many bytes of one radio's files stay in memory: on disk each is written once more, and read for sheet and zip."""


class FrameStore:
    """What is kept of the made frames of one radio: files, and cells on disk, for a job may have thousands of frames.

    A file that goes beyond `HELD_BYTES` goes to disk; its `start` counts on from there.

    Equal pictures are kept once and share a number, counted from 0. `whole[n]` and `cropped[n]` are the files of
    picture `n`, `thumbs[n]` its WebP thumbnail as a data URI, `banding[n]` its banding before and after dithering.
    """

    def __init__(self, base: Path) -> None:
        self._paths = base.with_name(f"{base.name}.files"), base.with_name(f"{base.name}.cells")
        self._files: BinaryIO = self._paths[0].open("w+b")
        self._held: dict[int, bytes] = {}
        self._held_bytes = 0
        self._cells: BinaryIO = self._paths[1].open("w+b")
        self._numbers: dict[str, int] = {}
        self._shape: tuple[int, ...] = ()
        self.whole: dict[int, StoredFile] = {}
        self.cropped: dict[int, StoredFile] = {}
        self._beside: dict[int, StoredFile] = {}
        self.thumbs: list[str] = []
        self.reasons: list[Reason] = []
        self.banding: list[tuple[float, float]] = []

    def __enter__(self) -> FrameStore:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._held.clear()
        give_back()
        for file, path in zip((self._files, self._cells), self._paths, strict=True):
            with suppress(OSError):  # what a full disk does not take any more is not wanted any more
                file.close()
            path.unlink(missing_ok=True)

    def keep(self, done: FrameDone, name: str) -> int:
        """Store a made frame of the source `name`; return its picture's number."""
        number = self._number(done)
        if number not in self.whole:
            self.whole[number] = self._of_picture(done.data, done, name)
            if done.cropped:
                file = self._of_picture(done.cropped.data, done, name)
                self.cropped[number] = replace(file, cut=done.cropped.cut)
        return number

    def _of_picture(self, data: bytes, done: FrameDone, name: str) -> StoredFile:
        return replace(self.add(data), name=name, plain_bytes=done.plain_bytes, photographic=done.photographic)

    def show(self, done: FrameDone) -> int:
        """Keep what the checks and the sheet need of a picture that is not a frame; return its number."""
        number = self._number(done)
        if number not in self.whole:
            self._beside[number] = self.add(done.data)
        return number

    def _number(self, done: FrameDone) -> int:
        if done.digest not in self._numbers:
            self._numbers[done.digest] = len(self._numbers)
            self._shape = done.cells.shape
            self._cells.seek(0, 2)
            self._cells.write(done.cells.tobytes())
            self.thumbs.append(data_uri(done.thumb))
            self.reasons += done.reasons
            self.banding.append((done.banding_before, done.banding_after))
        return self._numbers[done.digest]

    def number_of(self, done: FrameDone) -> int | None:
        """Return the number of the picture; None where it is not kept."""
        return self._numbers.get(done.digest)

    def add(self, data: bytes) -> StoredFile:
        """Add a PNG, JPEG or BMP file to the store."""
        start = self._added(data)
        if data.startswith(b"BM"):
            return StoredFile(start, len(data), "bmp", palette=False)
        png = data.startswith(PNG_SIGNATURE)
        indexed = png and data[25] == 3  # IHDR's colour type (PNG specification, third edition, 11.2.1)
        return StoredFile(start, len(data), "png" if png else "jpeg", indexed)

    def _added(self, data: bytes) -> int:
        if self._held_bytes + len(data) > HELD_BYTES:
            start = HELD_BYTES + self._files.seek(0, 2)
            self._files.write(data)
            return start
        start = self._held_bytes
        self._held[start] = data
        self._held_bytes += len(data)
        return start

    def read(self, file: StoredFile) -> bytes:
        if file.start < HELD_BYTES:
            return self._held[file.start]
        self._files.seek(file.start - HELD_BYTES)
        return self._files.read(file.size)

    def file(self, number: int) -> StoredFile:
        """Return the whole file of picture `number`, be it a frame or shown beside them."""
        return self.whole.get(number) or self._beside[number]

    def cells(self, number: int) -> NDArray[np.uint16]:
        """Return the cells of picture `number`: (rows, columns, 3) in linear light."""
        size = int(np.prod(self._shape)) * 2
        self._cells.seek(number * size)
        return np.frombuffer(self._cells.read(size), dtype=np.uint16).reshape(self._shape)

    def pixels(self, number: int) -> NDArray[np.uint8]:
        """Return the pixels of picture `number`: (height, width, 3) in sRGB."""
        with Image.open(io.BytesIO(self.read(self.file(number)))) as picture:
            return np.asarray(picture.convert("RGB"))

    def changes(self, numbers: Sequence[int]) -> tuple[float, ...]:
        """Return how far each picture of a part is from the one before, 0 for the first (see `motion.change`)."""
        moved = (motion.change(self.cells(a), self.cells(b)) if a != b else 0.0 for a, b in pairwise(numbers))
        return (0.0, *moved)


def data_uri(webp: bytes) -> str:
    return "data:image/webp;base64," + base64.b64encode(webp).decode("ascii")


# -- parts ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PackedPart:
    """A part as it goes into the zip: picture numbers in playing order, and the file of each picture."""

    path: str
    numbers: tuple[int, ...]
    files: Mapping[int, StoredFile]

    @property
    def ground(self) -> Colour | None:
        """The colour around cropped frames; None where all frames are whole."""
        return next((file.cut.ground for file in self.files.values() if file.cut), None)

    @property
    def size(self) -> int:
        """Bytes of all its frames."""
        return sum(self.files[number].size for number in self.numbers)

    def trim_txt(self) -> bytes:
        return trim.write(file.cut.box for n in self.numbers if (file := self.files[n]).cut)

    def entries(self) -> Iterator[tuple[str, StoredFile]]:
        """Yield the zip entry of each frame. Names differ in their numbers, so the two endings keep byte order."""
        for index, number in enumerate(self.numbers):
            file = self.files[number]
            yield f"{self.path}/{frame_name(index, len(self.numbers), _SUFFIXES[file.kind])}", file

    def with_files(self, successors: Mapping[StoredFile, StoredFile]) -> PackedPart:
        """Return the part with each file replaced by its successor, where it has one."""
        return replace(self, files={n: successors.get(file, file) for n, file in self.files.items()})

    def only(self, places: Sequence[int]) -> PackedPart:
        """Return the part with the frames at `places` alone."""
        numbers = tuple(self.numbers[place] for place in places)
        return replace(self, numbers=numbers, files={n: self.files[n] for n in numbers})


_SUFFIXES = {"png": ".png", "jpeg": ".jpg"}

Animation = tuple[PackedPart, ...]


def lossless(paths: Iterable[str], numbers: Sequence[Sequence[int]], store: FrameStore) -> Animation:
    """Return every part to the pixel, cropped where all of its frames stand on one ground and that saves bytes.

    A part whose pictures were all shown whole before stays whole: a hold is then the last frame's own file.
    """
    parts: list[PackedPart] = []
    seen_whole: set[int] = set()
    for path, order in zip(paths, numbers, strict=True):
        whole = PackedPart(path, tuple(order), {n: store.whole[n] for n in order})
        part = whole if seen_whole.issuperset(order) else _cropped_if_smaller(whole, store)
        seen_whole.update(order if part is whole else ())
        parts.append(part)
    return tuple(parts)


def _cropped_if_smaller(whole: PackedPart, store: FrameStore) -> PackedPart:
    cropped = {n: store.cropped[n] for n in whole.files if n in store.cropped}
    grounds = {file.cut.ground for file in cropped.values() if file.cut}
    if len(cropped) < len(whole.files) or len(grounds) != 1:
        return whole
    part = replace(whole, files=cropped)
    return part if part.size + _trim_bytes(part) < whole.size else whole


def _trim_bytes(part: PackedPart) -> int:
    return zip_bytes([(f"{part.path}/{trim.NAME}", len(part.trim_txt()))])


# -- the zip ----------------------------------------------------------------------------------------


def cropped_sizes(animation: Animation) -> dict[int, list[Texture]]:
    """Return the textures of each part whose frames are cropped, by the part's index."""
    cuts = {i: [part.files[n].cut for n in part.numbers] for i, part in enumerate(animation) if part.ground is not None}
    return {i: [Texture(cut.box.width, cut.box.height) for cut in boxes if cut] for i, boxes in cuts.items()}


def desc_of(plan: Plan, animation: Animation) -> Desc:
    """Return the content of desc.txt. Rows of cropped parts name their ground, except black, the players' default."""
    grounds = [part.ground if part.ground and any(part.ground) else None for part in animation]
    colours = ["#{:02x}{:02x}{:02x}".format(*ground) if ground else None for ground in grounds]
    rows = tuple(replace(row, colour=colour) for row, colour in zip(plan.desc.rows, colours, strict=True))
    return replace(plan.desc, rows=rows)


def size(plan: Plan, animation: Animation) -> int:
    """Return the bytes of the zip that `write` will make."""
    return zip_bytes(
        [(name, what.size if isinstance(what, StoredFile) else len(what)) for name, what in _entries(plan, animation)]
    )


def write(plan: Plan, animation: Animation, store: FrameStore, target: Path) -> None:
    """Write the zip to `target`."""
    with ZipWriter(target) as pack:
        for name, what in _entries(plan, animation):
            pack.add(name, store.read(what) if isinstance(what, StoredFile) else what)


def _entries(plan: Plan, animation: Animation) -> Iterator[tuple[str, StoredFile | bytes]]:
    """Yield the zip's entries in their order: files of the store, and texts as they are."""
    yield "desc.txt", desc.write(desc_of(plan, animation))
    for part in animation:
        yield from part.entries()
        if part.ground is not None:
            yield f"{part.path}/{trim.NAME}", part.trim_txt()
