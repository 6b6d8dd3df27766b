"""The kinds of steps of an installation. Each can say what it would do, and does it so that it can be repeated."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from keyturn.shop import durable_files
from keyturn.shop.reasons import ShopFault


class Step(Protocol):
    def told(self) -> str:
        """Say what the step would do."""

    def do(self) -> str:
        """Do it and say what was done. Raise `ShopFault` or OSError where that fails."""


@dataclass(frozen=True, slots=True)
class WriteFile:
    """`keep`: a file that is there stays as it is."""

    path: Path
    text: str
    keep: bool = False

    def told(self) -> str:
        if self.keep and self.path.exists():
            return f"leave {self.path} as it is"
        return f"write {self.path}" if self._differs() else f"leave {self.path}, which is as it should be"

    def do(self) -> str:
        if self.keep and self.path.exists():
            return f"{self.path} stays as it is"
        if not self._differs():
            return f"{self.path} is as it should be"
        self.path.parent.mkdir(parents=True, exist_ok=True)
        durable_files.write_atomic(self.path, self.text.encode("utf-8"))
        self.path.chmod(0o644)
        return f"wrote {self.path}"

    def _differs(self) -> bool:
        try:
            return self.path.read_text(encoding="utf-8") != self.text
        except (OSError, UnicodeDecodeError):
            return True


@dataclass(frozen=True, slots=True)
class RunProgram:
    """`may_fail`: what it prints is told, and the next step follows in any case."""

    command: tuple[str, ...]
    may_fail: bool = False

    def told(self) -> str:
        return f"run {' '.join(self.command)}"

    def do(self) -> str:
        try:
            ended = subprocess.run(self.command, capture_output=True, text=True, check=False)
        except FileNotFoundError as error:
            raise ShopFault(
                f"{self.command[0]} is not installed", "install it, then run the same command again"
            ) from error
        if ended.returncode and not self.may_fail:
            last = (ended.stderr or ended.stdout).strip().splitlines()[-1:] or ["it says nothing"]
            what = f"{' '.join(self.command)} ended with code {ended.returncode}: {last[0]}"
            raise ShopFault(what, "mend that, then run the same command again; what is done stays done")
        said = f"\n{ended.stdout.rstrip()}" if self.may_fail and ended.stdout else ""
        return f"ran {' '.join(self.command)}{said}"


@dataclass(frozen=True, slots=True)
class RemovePath:
    """Remove a file, or a folder with all that is in it; with `if_empty`, only a folder in which nothing is."""

    path: Path
    if_empty: bool = False

    def told(self) -> str:
        return f"remove {self.path}" if self._is_there() else f"pass by {self.path}, which {self._why_not()}"

    def do(self) -> str:
        if not self._is_there():
            return f"{self.path} {self._why_not()}"
        if self.path.is_dir() and not self.path.is_symlink():
            shutil.rmtree(self.path)
        else:
            self.path.unlink()
        return f"removed {self.path}"

    def _why_not(self) -> str:
        return "holds files of yours" if self.path.exists() else "is not there"

    def _is_there(self) -> bool:
        if self.if_empty and self.path.is_dir() and any(self.path.iterdir()):
            return False
        return self.path.is_symlink() or self.path.exists()


Steps = Sequence[Step]
