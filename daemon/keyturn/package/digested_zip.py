"""The finished zip's SHA-256, taken on a thread while pictures are made for the sheet and flashes are looked for."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType

from keyturn.shop import durable_files


class DigestedZip:
    """The zip that is written to `path`. Use as a context: it lies there until its end.

    SHA-256 takes 0.6 ms a MB, where the processor has instructions for it, and leaves the interpreter to others.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._thread = ThreadPoolExecutor(1, "digest of the zip")
        self._digest: Future[str] | None = None

    def __enter__(self) -> DigestedZip:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._thread.shutdown()

    def finish(self) -> None:
        """Say that the zip is written: its digest is taken from now on."""
        self._digest = self._thread.submit(durable_files.sha256, self.path)

    def sha256(self) -> str:
        """Return the digest of the finished zip as 64 hex digits. Raise OSError where it could not be read."""
        assert self._digest is not None, "the zip is finished first"
        return self._digest.result()
