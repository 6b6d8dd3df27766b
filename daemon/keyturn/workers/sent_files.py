"""The files that jobs name, on their way to a cluster: inside a message of jobs, or handed over for several."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import uuid4

from keyturn.shop.file_identity import FileIdentity

LARGE_BYTES = 4 * 2**20
"""A larger file is not sent inside a message but handed to the cluster beforehand."""

REMEMBERED = 64
"""The files last sent that are remembered: more than one drop's backdrop, sprites and clip."""


@dataclass(slots=True)
class _Sent:
    """A file that was sent.

    It has a name on the workers, which no other file has; where several messages need it, the cluster's future of it.
    """

    name: str
    kept: Any = None


@dataclass(slots=True)
class MessageFiles:
    """The files of the jobs in one message, by their names on the workers.

    The bytes of some are `inside` the message; of those that are `kept` by the cluster it holds the futures.
    """

    inside: dict[str, bytes] = field(default_factory=dict)
    kept: dict[str, Any] = field(default_factory=dict)


class SentFiles:
    """Remembers which files were sent. `hand_over` gives bytes to the cluster and returns its future of them."""

    def __init__(self, hand_over: Callable[[bytes], Any]) -> None:
        self._hand_over = hand_over
        self._files: OrderedDict[tuple[Path, FileIdentity], _Sent] = OrderedDict()

    def add(self, path: Path, files: MessageFiles) -> str:
        """Add the file to the files of a message; return its name on the workers.

        A small file is sent inside the message. Once a second message needs it, it is handed to the cluster like a
        large one.
        """
        key = (path, FileIdentity.of(path.stat()))
        sent = self._files.pop(key, None)
        if sent is None or (sent.kept is None and sent.name not in files.inside):
            data = path.read_bytes()
            sent, again = sent or _Sent(uuid4().hex + path.suffix), sent is not None
            if again or len(data) > LARGE_BYTES:
                sent.kept = self._hand_over(data)
            else:
                files.inside[sent.name] = data
        if sent.kept is not None:
            files.kept[sent.name] = sent.kept
        self._files[key] = sent
        while len(self._files) > REMEMBERED:
            self._files.popitem(last=False)
        return sent.name

    def forget(self) -> None:
        """Send every file anew from now on: the cluster has lost what it was given, or was left."""
        self._files.clear()
