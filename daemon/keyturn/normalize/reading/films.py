"""Films: MP4, MOV and WebM, frame by frame in the order they are shown. Sound is ignored.

Frames are found by their time stamps, so a film of varying rate keeps its timing. All of this must run in a worker:
a C library reads even a film's header.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Any, BinaryIO

from PIL import Image

from keyturn.normalize.reading import exif_turn, film_colour, film_completeness, film_times, picture_faults
from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.normalize.reading.film_decoding import FilmPass, told_as_broken
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.reasons import Reason, Refused, note
from keyturn.shop.rulebook import Intake

if TYPE_CHECKING:
    from av.packet import Packet
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream

LONGEST = 100
"""A film may have this many times the frames of a whole job. Counting stops there, and the film is refused."""

STRIDE = 24
"""Up to so many frames, decoding and dropping them is quicker than opening the film anew to jump over them."""


class Film:
    """An open film. `size` is in square pixels before the turn; `turn` is the turn as an EXIF orientation.

    Frames in order are decoded once each; any other is decoded from the keyframe before it. Opening and reading
    raise `Refused` or `Broken`, and OSError for the shop's disk. `file` is not closed.
    """

    def __init__(self, file: BinaryIO, kind: str, intake: Intake) -> None:
        require_av()
        from av.video.reformatter import VideoReformatter

        self._file, self._kind, self._intake = file, kind, intake
        film_completeness.check(file, kind)
        with told_as_broken():
            self._pass = self._new_pass()
            self._stamps, self._keys, last = self._walked()
            self._rewind()
            first = self._pass.first()
            self._rewind()
        stream = self._pass.stream
        aspect = stream.codec_context.sample_aspect_ratio
        self.size = film_colour.square((first.width, first.height), aspect)
        self.alpha = film_colour.has_alpha(first)
        self.turn = film_colour.turn(display_matrix(first))
        self.bits = max(component.bits for component in first.format.components)
        self.durations_ms = film_times.durations_ms(self._stamps, last, Fraction(stream.time_base or 1))
        self.findings = tuple(_findings(first))
        self.info = exif_turn.written(self.turn) | film_colour.profile(first)
        self._reformatter = VideoReformatter()
        self._upcoming = 0

    @property
    def frames(self) -> int:
        return len(self._stamps)

    def frame(self, index: int) -> Image.Image:
        """Return frame `index`, from 0, as RGB or RGBA, its turn and its colour profile in `info`."""
        with told_as_broken():
            found = self._looked_up(index)
            if found is None or found.is_corrupt:
                raise Broken(f"has a damaged frame ({index + 1} of {self.frames})")
            made = film_colour.picture(found, self.size, self.alpha, self._reformatter)
        made.info = dict(self.info)
        return made

    def close(self) -> None:
        self._pass.close()

    def _new_pass(self) -> FilmPass:
        return FilmPass(self._file, self._kind, self._intake)

    def _rewind(self) -> None:
        self._pass.close()
        self._pass = self._new_pass()

    def _looked_up(self, index: int) -> VideoFrame | None:
        stamp = self._stamps[index]
        key = film_times.entry(self._stamps, self._keys, self._upcoming, index, STRIDE)
        self._upcoming = index + 1
        if key is not None:
            self._rewind()
        if key is not None and key > self._stamps[0]:
            self._pass.enter(key)
            if (found := self._pass.until(stamp)) and not found.is_corrupt:
                return found
            self._rewind()  # the film cannot be entered there: decode it from the start
        return self._pass.until(stamp)

    def _walked(self) -> tuple[tuple[int, ...], tuple[int, ...], int]:
        """Return the time stamps of all frames, ascending, and of the keyframes, and the last frame's ticks."""
        most = LONGEST * self._intake.caps.frames
        lengths: dict[int, int] = {}
        keys, read = [], 0
        for packet in self._pass.packets():
            read += 1
            if packet.is_corrupt:
                raise Broken(f"breaks off after {len(lengths)} whole frames")
            stamp = packet.dts if packet.pts is None else packet.pts
            if stamp is None or packet.is_discard or _is_unseen(packet, self._pass.stream.codec_context.name):
                continue
            lengths[stamp] = packet.duration or 0
            keys += [stamp] if packet.is_keyframe else []
            if len(lengths) > most:
                raise Refused([picture_faults.too_long(most)])
        if read < self._pass.promised():
            raise Broken(f"breaks off after {len(lengths)} whole frames")
        if not lengths:
            raise Broken("holds no frames")
        stamps = tuple(sorted(lengths))
        return stamps, tuple(sorted(keys)), lengths[stamps[-1]]


def opened(file: BinaryIO, kind: str, intake: Intake) -> LibraryPicture:
    """Open the film as a picture: its first frame, with the timing of all frames."""
    film = Film(file, kind, intake)
    return LibraryPicture(
        kind,
        film.size,
        "RGBA" if film.alpha else "RGB",
        lambda _: film.frame(0),
        info=film.info,
        bits=film.bits,
        shown_ms=film.durations_ms,
        findings=film.findings,
    )


def require_av() -> None:
    """Raise `Refused` where PyAV is not installed."""
    try:
        import av  # noqa: F401 - is it there?
    except ImportError:
        raise picture_faults.not_installed("a film", "video", "numbered PNGs") from None


def display_matrix(frame: VideoFrame) -> bytes:
    """Return the frame's display matrix (see `film_colour.turn`); empty where it has none."""
    from av.sidedata.sidedata import Type

    kept: Any = frame.side_data  # typed as keyed by strings, yet these are the keys that work
    try:
        return bytes(kept[Type.DISPLAYMATRIX])
    except KeyError:
        return b""


def _is_unseen(packet: Packet[VideoStream], codec: str) -> bool:
    """Is it a VP8 picture that is never shown and only serves to predict others (RFC 6386, 9.1: show_frame)?"""
    return codec in ("vp8", "libvpx") and not bytes(packet)[0] >> 4 & 1


def _findings(first: VideoFrame) -> Iterator[Reason]:
    if int(first.color_trc) in film_colour.HDR:
        what = "was made for HDR screens; what is brighter there than white paper is cut off"
        yield note("film-hdr", what, "export it for ordinary screens (Rec. 709)")
    if first.interlaced_frame:
        yield note("film-interlaced", "is interlaced: quick motion may show combs", "export it progressive")
