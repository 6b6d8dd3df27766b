"""`keyturn shown` notes to whom a sheet was shown."""

from __future__ import annotations

from keyturn.commands.stick_copy import StickFolder
from keyturn.outbox import revision_life
from samples import Run


def test_it_is_noted_beside_the_revision(run: Run, source: StickFolder) -> None:
    assert run("shown", source.folder.parent, "--to", "Marta Lindqvist") == 0
    (shown,) = revision_life.read(source.folder.parent).shown
    assert shown.note == "Marta Lindqvist" and shown.path.endswith("/van-r2")


def test_somebody_must_be_named(run: Run, source: StickFolder) -> None:
    assert run("shown", source.folder.parent) == 2
