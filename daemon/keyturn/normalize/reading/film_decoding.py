"""One pass through a film's file with PyAV: its packets, and from them its frames in the order they are shown.

Only the demuxers named here read it, from an open file object: there is no name, no network and no second file
for them to follow (QuickTime's references to other files are off in FFmpeg, and here as well).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, BinaryIO, cast

from keyturn.normalize.reading import picture_faults
from keyturn.normalize.reading.clip_frames import Broken
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
"""FFmpeg's own decoders of these leave out the alpha that WebM keeps beside the picture; libvpx is asked for both."""


class Run:
    """Raises `Refused` for what is not taken, FFmpeg's own errors for what is broken; `file` stays the caller's."""

    def __init__(self, file: BinaryIO, kind: str, intake: Intake, name: str) -> None:
        self._container = _opened(file, kind)
        self.stream = _moving_stream(self._container, name)
        self._decoder = _decoder(self.stream, intake, name)
        self._frames = self._decoded()
        self._at: int | None = None

    def close(self) -> None:
        self._container.close()

    def packets(self) -> Iterator[Packet[VideoStream]]:
        """Those that hold something; FFmpeg ends a stream with an empty one."""
        return (packet for packet in self._container.demux(self.stream) if packet.size)

    def promised(self) -> int:
        """How many packets the file's index has, where it is an index of all; asked for when all have been read."""
        return len(self.stream.index_entries) if self._container.format.name.startswith("mov") else 0

    def enter(self, keyframe: int) -> None:
        """Goes on from the frame with this time stamp, or from one before it."""
        self._container.seek(keyframe, stream=self.stream)

    def first(self) -> VideoFrame:
        frame = next(self._frames, None)
        if frame is None:
            raise Broken("holds no frames")
        return frame

    def until(self, stamp: int) -> VideoFrame | None:
        """The frame with this time stamp; None where the pass is beyond it or the film has none."""
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
    """What FFmpeg complains of is the film's fault: a fault of the disk comes as the OSError that `read` raised."""
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


def _moving_stream(container: InputContainer, name: str) -> VideoStream:
    from av.stream import Disposition

    for stream in container.streams.video:
        if not stream.disposition & Disposition.attached_pic:  # a cover is no film
            return stream
    raise Refused([refuse("film-blind", "has no moving picture in it", "export it with its pictures", file=name)])


def _keeps_alpha(stream: VideoStream) -> bool:
    """Matroska's AlphaMode, which some writers put among the tags in capitals."""
    return any(key.lower() == "alpha_mode" and value == "1" for key, value in stream.metadata.items())


def _decoder(stream: VideoStream, intake: Intake, name: str) -> VideoCodecContext:
    """One thread each: a crew's worker is one of many already."""
    from av.codec import Codec
    from av.codec.context import CodecContext

    decoder = stream.codec_context
    if decoder is None or decoder.name not in intake.formats.codecs:
        what = f"is packed in a way that is not taken here ({decoder.name if decoder else 'unknown'})"
        raise Refused([refuse("film-codec", what, "export it as MP4 with H.264, or as numbered PNGs", file=name)])
    if (mpx := decoder.width * decoder.height / 1e6) > intake.caps.clip_mpx:
        raise Refused([picture_faults.too_large(mpx, intake.caps.clip_mpx, name)])
    if decoder.name in _DECODES_ALPHA and _keeps_alpha(stream):
        extradata, codec = decoder.extradata, Codec(_DECODES_ALPHA[decoder.name], "r")
        decoder = cast("VideoCodecContext", CodecContext.create(codec))
        decoder.extradata = extradata
    decoder.thread_count = 1
    decoder.options = {"max_pixels": str(int(intake.caps.clip_mpx * 1e6))}
    return decoder
