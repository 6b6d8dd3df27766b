"""The animation before it is zipped: each part's pictures, their files on disk, and how large the zip will be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Literal

from keyturn.normalize.reading.headers import PNG_SIGNATURE
from keyturn.package.crop import Colour, Cut
from keyturn.package.stick import ZipWriter, zip_bytes
from keyturn.radio import desc, trim
from keyturn.radio.desc import Desc
from keyturn.renumber.order import frame_name
from keyturn.renumber.plan import Plan


@dataclass(frozen=True, slots=True)
class Piece:
    """A picture's file, `size` bytes from `start` of the store. `cut`: what it fills of the panel, None all of it.

    `lost` is `eye.loss.lost` where it is not the picture to the pixel.
    """

    start: int
    size: int
    kind: Literal["png", "jpeg"]
    palette: bool
    cut: Cut | None = None
    lost: float = 0.0


class Store:
    """Finished files one after another in one file on disk, for a job may have thousands."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: BinaryIO = path.open("w+b")

    def __enter__(self) -> Store:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._file.close()
        self._path.unlink(missing_ok=True)

    def add(self, data: bytes, cut: Cut | None = None, lost: float = 0.0) -> Piece:
        start = self._file.seek(0, 2)
        self._file.write(data)
        png = data.startswith(PNG_SIGNATURE)
        indexed = png and data[25] == 3  # IHDR's colour type (PNG specification, third edition, 11.2.1)
        return Piece(start, len(data), "png" if png else "jpeg", indexed, cut, lost)

    def read(self, piece: Piece) -> bytes:
        self._file.seek(piece.start)
        return self._file.read(piece.size)


@dataclass(frozen=True, slots=True)
class Take:
    """A distinct picture, `name` its first source: the files it can stand in, all the same to the pixel."""

    name: str
    whole: Piece
    cropped: Piece | None
    plain_bytes: int
    photographic: bool


@dataclass(frozen=True, slots=True)
class Laid:
    """A part as it goes into the zip: picture numbers in playing order, and the piece that stands for each."""

    path: str
    numbers: tuple[int, ...]
    pieces: Mapping[int, Piece]

    @property
    def ground(self) -> Colour | None:
        """What surrounds cropped frames; None where all are whole."""
        return next((piece.cut.ground for piece in self.pieces.values() if piece.cut), None)

    @property
    def size(self) -> int:
        """Bytes of its pictures."""
        return sum(self.pieces[number].size for number in self.numbers)

    def trim_txt(self) -> bytes:
        return trim.write(piece.cut.box for n in self.numbers if (piece := self.pieces[n]).cut)

    def frames(self) -> Iterator[tuple[str, Piece]]:
        """The frames' names in the zip. Numbers differ before endings do, so kinds may mix in byte order."""
        for index, number in enumerate(self.numbers):
            piece = self.pieces[number]
            yield f"{self.path}/{frame_name(index, len(self.numbers), _SUFFIXES[piece.kind])}", piece

    def become(self, successors: Mapping[Piece, Piece]) -> Laid:
        return replace(self, pieces={n: successors.get(piece, piece) for n, piece in self.pieces.items()})

    def only(self, places: Sequence[int]) -> Laid:
        """The frames at `places` alone."""
        numbers = tuple(self.numbers[place] for place in places)
        return replace(self, numbers=numbers, pieces={n: self.pieces[n] for n in numbers})


_SUFFIXES = {"png": ".png", "jpeg": ".jpg"}

Reel = tuple[Laid, ...]


def lossless(paths: Iterable[str], numbers: Sequence[Sequence[int]], takes: Mapping[int, Take]) -> Reel:
    """Every part to the pixel; cropped where all of its frames stand on one ground and that is smaller.

    A part whose pictures were all shown whole before stays whole: the hold is then the last frame's own file.
    """
    reel: list[Laid] = []
    seen_whole: set[int] = set()
    for path, order in zip(paths, numbers, strict=True):
        whole = Laid(path, tuple(order), {n: takes[n].whole for n in order})
        laid = whole if seen_whole.issuperset(order) else _lighter(whole, takes)
        seen_whole.update(order if laid is whole else ())
        reel.append(laid)
    return tuple(reel)


def _lighter(whole: Laid, takes: Mapping[int, Take]) -> Laid:
    cropped = {n: piece for n in whole.pieces if (piece := takes[n].cropped)}
    grounds = {piece.cut.ground for piece in cropped.values() if piece.cut}
    if len(cropped) < len(whole.pieces) or len(grounds) != 1:
        return whole
    laid = replace(whole, pieces=cropped)
    return laid if laid.size + _entry_bytes(laid) < whole.size else whole


def _entry_bytes(laid: Laid) -> int:
    return zip_bytes([(f"{laid.path}/{trim.NAME}", len(laid.trim_txt()))])


def cropped(reel: Reel) -> dict[int, list[tuple[int, int]]]:
    """Sizes of the frames of parts whose frames are cropped."""
    boxes = {i: [laid.pieces[n].cut for n in laid.numbers] for i, laid in enumerate(reel) if laid.ground is not None}
    return {i: [(cut.box.width, cut.box.height) for cut in cuts if cut] for i, cuts in boxes.items()}


def desc_of(plan: Plan, reel: Reel) -> Desc:
    """desc.txt's content, rows of cropped parts with their ground unless it is black, the players' own."""
    grounds = [laid.ground if laid.ground and any(laid.ground) else None for laid in reel]
    colours = ["#{:02x}{:02x}{:02x}".format(*ground) if ground else None for ground in grounds]
    rows = tuple(replace(row, colour=colour) for row, colour in zip(plan.desc.rows, colours, strict=True))
    return replace(plan.desc, rows=rows)


def size(plan: Plan, reel: Reel) -> int:
    """Bytes of the zip that `write` will make."""
    return zip_bytes(
        [(name, what.size if isinstance(what, Piece) else len(what)) for name, what in _entries(plan, reel)]
    )


def write(plan: Plan, reel: Reel, store: Store, animation: Path) -> None:
    with ZipWriter(animation) as pack:
        for name, what in _entries(plan, reel):
            pack.add(name, store.read(what) if isinstance(what, Piece) else what)


def _entries(plan: Plan, reel: Reel) -> Iterator[tuple[str, Piece | bytes]]:
    """The zip's entries in their order: pieces of the store, and the texts themselves."""
    yield "desc.txt", desc.write(desc_of(plan, reel))
    for laid in reel:
        yield from laid.frames()
        if laid.ground is not None:
            yield f"{laid.path}/{trim.NAME}", laid.trim_txt()
