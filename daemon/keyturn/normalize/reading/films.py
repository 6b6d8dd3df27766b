"""Films: MP4, MOV and WebM, frame by frame in the order they are shown; sound is left aside.

Frames are told apart by their time stamps, so a film of varying rate keeps its timing. Everything here belongs in
a worker: a film's header is read by a C library too.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Any, BinaryIO

from PIL import Image

from keyturn.normalize.reading import film_colour, film_completeness, film_times, picture_faults
from keyturn.normalize.reading.clip_frames import Broken
from keyturn.normalize.reading.decoded_elsewhere import Foreign, turned
from keyturn.normalize.reading.film_decoding import Run, told_as_broken
from keyturn.shop.reasons import Reason, Refused, note
from keyturn.shop.rulebook import Intake

if TYPE_CHECKING:
    from av.packet import Packet
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream

LONGEST = 100
"""How many times the frames that a job may have; a longer film is not even counted through."""


STRIDE = 24
"""Frames that are sooner decoded and left out than a film is opened anew to jump over them."""


class Film:
    """An open film. `size` is in square pixels before the turn, `turn` EXIF's orientation of it.

    Frames in order are decoded once each; any other is looked for from the keyframe before it. Opening and reading
    raise `Refused` or `Broken`, OSError for the shop's disk. `file` stays the caller's.
    """

    def __init__(self, file: BinaryIO, kind: str, intake: Intake, name: str) -> None:
        _require_av(name)
        from av.video.reformatter import VideoReformatter

        self._file, self._kind, self._intake, self._name = file, kind, intake, name
        film_completeness.whole(file, kind)
        with told_as_broken():
            self._run = self._new_run()
            self._stamps, self._keys, last = self._walked()
            self._rewind()
            first = self._run.first()
            self._rewind()
        stream = self._run.stream
        aspect = stream.codec_context.sample_aspect_ratio
        self.size = film_colour.square((first.width, first.height), aspect)
        self.alpha = film_colour.has_alpha(first)
        self.turn = film_colour.turn(_display_matrix(first))
        self.bits = max(component.bits for component in first.format.components)
        self.durations_ms = film_times.durations_ms(self._stamps, last, Fraction(stream.time_base or 1))
        self.findings = tuple(_found(first, name))
        self.info = turned(self.turn) | film_colour.profile(first)
        self._reformatter = VideoReformatter()
        self._upcoming = 0

    @property
    def frames(self) -> int:
        return len(self._stamps)

    def frame(self, index: int) -> Image.Image:
        """Frame `index`, from 0, as RGB or RGBA, its turn and its colour profile in `info`."""
        with told_as_broken():
            found = self._looked_up(index)
            if found is None or found.is_corrupt:
                raise Broken(f"has a damaged frame ({index + 1} of {self.frames})")
            made = film_colour.picture(found, self.size, self.alpha, self._reformatter)
        made.info = dict(self.info)
        return made

    def close(self) -> None:
        self._run.close()

    def _new_run(self) -> Run:
        return Run(self._file, self._kind, self._intake, self._name)

    def _rewind(self) -> None:
        self._run.close()
        self._run = self._new_run()

    def _looked_up(self, index: int) -> VideoFrame | None:
        stamp = self._stamps[index]
        key = film_times.entry(self._stamps, self._keys, self._upcoming, index, STRIDE)
        self._upcoming = index + 1
        if key is not None:
            self._rewind()
        if key is not None and key > self._stamps[0]:
            self._run.enter(key)
            if (found := self._run.until(stamp)) and not found.is_corrupt:
                return found
            self._rewind()  # it cannot be entered in the middle after all
        return self._run.until(stamp)

    def _walked(self) -> tuple[tuple[int, ...], tuple[int, ...], int]:
        """Time stamps of all frames, ascending, those of the keyframes, and how many ticks the last frame stands."""
        most = LONGEST * self._intake.caps.frames
        lengths: dict[int, int] = {}
        keys, read = [], 0
        for packet in self._run.packets():
            read += 1
            if packet.is_corrupt:
                raise Broken(f"breaks off after {len(lengths)} whole frames")
            stamp = packet.dts if packet.pts is None else packet.pts
            if stamp is None or packet.is_discard or _is_unseen(packet, self._run.stream.codec_context.name):
                continue
            lengths[stamp] = packet.duration or 0
            keys += [stamp] if packet.is_keyframe else []
            if len(lengths) > most:
                raise Refused([picture_faults.too_long(most, self._name)])
        if read < self._run.promised():
            raise Broken(f"breaks off after {len(lengths)} whole frames")
        if not lengths:
            raise Broken("holds no frames")
        stamps = tuple(sorted(lengths))
        return stamps, tuple(sorted(keys)), lengths[stamps[-1]]


def opened(file: BinaryIO, kind: str, intake: Intake, name: str) -> Foreign:
    """The film as a picture: its first frame, with the timing of all."""
    film = Film(file, kind, intake, name)
    return Foreign(
        kind,
        film.size,
        "RGBA" if film.alpha else "RGB",
        lambda _: film.frame(0),
        info=film.info,
        bits=film.bits,
        shown_ms=film.durations_ms,
        findings=film.findings,
    )


def _require_av(name: str) -> None:
    try:
        import av  # noqa: F401 - is it there?
    except ImportError:
        raise picture_faults.not_installed("a film", "video", "numbered PNGs", name) from None


def _display_matrix(frame: VideoFrame) -> bytes:
    from av.sidedata.sidedata import Type

    kept: Any = frame.side_data  # its own type says it is keyed by strings; by these it goes
    try:
        return bytes(kept[Type.DISPLAYMATRIX])
    except KeyError:
        return b""


def _is_unseen(packet: Packet[VideoStream], codec: str) -> bool:
    """VP8 keeps pictures that others are only made from in packets of their own (RFC 6386, 9.1: show_frame)."""
    return codec in ("vp8", "libvpx") and not bytes(packet)[0] >> 4 & 1


def _found(first: VideoFrame, name: str) -> Iterator[Reason]:
    if int(first.color_trc) in film_colour.HDR:
        what = "was made for HDR screens; what is brighter there than white paper is cut off"
        yield note("film-hdr", what, "export it for ordinary screens (Rec. 709)", file=name)
    if first.interlaced_frame:
        yield note("film-interlaced", "is interlaced: quick motion may show combs", "export it progressive", file=name)
