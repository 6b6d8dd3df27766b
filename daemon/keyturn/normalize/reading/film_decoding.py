"""One pass through a film's file with PyAV: its packets, and from them its frames in the order they are shown.

Only the demuxers named here read the file, from an open file object. So they can reach no other file and no network;
a MOV's references to other files are switched off as well, which is also FFmpeg's default.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, BinaryIO, cast

from keyturn.normalize.reading import picture_faults
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Intake

if TYPE_CHECKING:
    from av.container.input import InputContainer
    from av.packet import Packet
    from av.video.codeccontext import VideoCodecContext
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream

_DEMUXERS = {"MP4": "mov", "MOV": "mov", "WEBM": "matroska"}
_DECODES_ALPHA = {"vp8": "libvpx", "vp9": "libvpx-vp9"}
"""FFmpeg's own decoders of these leave out the alpha that WebM keeps beside the picture; libvpx decodes it too."""


class FilmPass:
    """One pass through the film in `file`, which is not closed.

    Raises `Refused` for a film that is not taken, FFmpeg's own errors for a broken one.
    """

    def __init__(self, file: BinaryIO, kind: str, intake: Intake) -> None:
        self._container = _opened(file, kind)
        self.stream = _moving_stream(self._container)
        self._decoder = _decoder(self.stream, intake)
        self._frames = self._decoded()
        self._at: int | None = None

    def close(self) -> None:
        self._container.close()

    def packets(self) -> Iterator[Packet[VideoStream]]:
        """Yield the packets, without the empty one that FFmpeg ends a stream with."""
        return (packet for packet in self._container.demux(self.stream) if packet.size)

    def promised(self) -> int:
        """Return how many packets the index lists; 0 where it does not list all. Call it after reading all of them."""
        return len(self.stream.index_entries) if self._container.format.name.startswith("mov") else 0

    def enter(self, keyframe: int) -> None:
        """Go on from the keyframe with this time stamp, or from one before it."""
        self._container.seek(keyframe, stream=self.stream)

    def first(self) -> VideoFrame:
        """Return the first frame. Raise `Broken` where there is none."""
        frame = next(self._frames, None)
        if frame is None:
            raise Broken("holds no frames")
        return frame

    def frames(self) -> Iterator[VideoFrame]:
        """Yield the frames from here on."""
        yield from self._frames

    def until(self, stamp: int) -> VideoFrame | None:
        """Return the frame with this time stamp; None where the pass is beyond it or the film has none."""
        while self._at is None or self._at < stamp:
            frame = next(self._frames, None)
            if frame is None:
                return None
            self._at = self._at if frame.pts is None else frame.pts
            if self._at == stamp:
                return frame
        return None

    def _decoded(self) -> Iterator[VideoFrame]:
        for packet in self.packets():
            yield from self._decoder.decode(packet)
        yield from self._decoder.decode(None)


@contextmanager
def told_as_broken() -> Iterator[None]:
    """Turn FFmpeg's errors into `Broken`. A fault of the disk comes through as the OSError that `read` raised."""
    import av

    try:
        yield
    except av.FFmpegError as error:
        if isinstance(error, MemoryError):
            raise
        raise Broken("cannot be read to its end") from error


def _opened(file: BinaryIO, kind: str) -> InputContainer:
    import av

    def no_other_file(url: str, flags: int, options: object) -> None:
        raise Broken("draws on other files")

    file.seek(0)
    demuxer = _DEMUXERS[kind]
    shut = {"enable_drefs": "0"} if demuxer == "mov" else {}
    return av.open(file, "r", format=demuxer, container_options=shut, io_open=no_other_file)


def _moving_stream(container: InputContainer) -> VideoStream:
    from av.stream import Disposition

    for stream in container.streams.video:
        if not stream.disposition & Disposition.attached_pic:  # a cover picture is not the film
            return stream
    raise Refused([refuse("film-blind", "has no moving picture in it", "export it with its pictures")])


def _keeps_alpha(stream: VideoStream) -> bool:
    """Does the film have alpha? The tag is Matroska's AlphaMode, which some writers put in capitals."""
    return any(key.lower() == "alpha_mode" and value == "1" for key, value in stream.metadata.items())


def _decoder(stream: VideoStream, intake: Intake) -> VideoCodecContext:
    """Return the decoder, with one thread: each worker of a crew is one of many already.

    Raise `Refused` for a codec that is not taken, and for too many pixels.
    """
    from av.codec import Codec
    from av.codec.context import CodecContext

    decoder = stream.codec_context
    if decoder is None or decoder.name not in intake.formats.codecs:
        what = f"is packed in a way that is not taken here ({decoder.name if decoder else 'unknown'})"
        raise Refused([refuse("film-codec", what, "export it as MP4 with H.264, or as numbered PNGs")])
    if (mpx := decoder.width * decoder.height / 1e6) > intake.caps.clip_mpx:
        raise Refused([picture_faults.too_large(mpx, intake.caps.clip_mpx)])
    if decoder.name in _DECODES_ALPHA and _keeps_alpha(stream):
        extradata, codec = decoder.extradata, Codec(_DECODES_ALPHA[decoder.name], "r")
        decoder = cast("VideoCodecContext", CodecContext.create(codec))
        decoder.extradata = extradata
    decoder.thread_count = 1
    decoder.options = {"max_pixels": str(int(intake.caps.clip_mpx * 1e6))}
    return decoder
