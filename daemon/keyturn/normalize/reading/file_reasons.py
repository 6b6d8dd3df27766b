"""The file's name, added to reasons in one place: readers of pictures do not know it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from keyturn.shop.reasons import Reason, Refused


def named(reasons: Iterable[Reason], name: str) -> tuple[Reason, ...]:
    """Return `reasons`, those without a file with `name`, the file's path in the drop."""
    return tuple(_with_file(reason, name) if reason.file is None else reason for reason in reasons)


@contextmanager
def about(name: str) -> Iterator[None]:
    """Add `name` to the reasons of any `Refused` that leaves the block."""
    try:
        yield
    except Refused as refused:
        raise Refused(named(refused.reasons, name)) from refused


def _with_file(reason: Reason, name: str) -> Reason:
    """Build the reason anew: `model_copy` would skip the check that the name can be written."""
    return Reason(code=reason.code, kind=reason.kind, what=reason.what, mend=reason.mend, file=name, field=reason.field)
