"""The words for pictures that cannot be used: a refusal, what is wrong, and how to mend it, for any file."""

from __future__ import annotations

import pytest

from keyturn.normalize.reading import picture_faults
from keyturn.shop.reasons import Kind, Reason

REASONS = [
    (picture_faults.too_large(130.25, 120), "picture-too-large", "130.2 megapixels", "120 megapixels"),
    (picture_faults.too_large(0, 120), "picture-too-large", "more memory", "120 megapixels"),
    (picture_faults.broken(), "picture-broken", "cannot be read to its end", "export it again"),
    (picture_faults.broken("breaks off"), "picture-broken", "it breaks off", "copy it again"),
    (picture_faults.not_taken("PDF", ("PNG", "GIF")), "picture-kind", "is PDF", "PNG, GIF"),
    (picture_faults.too_long(2400, cut=", or cut it"), "clip-too-long", "2400 frames", "thin it out, or cut it"),
    (*picture_faults.not_installed("a film", "video", "PNGs").reasons, "picture-kind", "a film", "keyturn[video]"),
]


@pytest.mark.parametrize(("reason", "code", "what", "mend"), REASONS)
def test_it_is_said_what_is_wrong_and_what_to_do(reason: Reason, code: str, what: str, mend: str) -> None:
    assert (reason.code, reason.kind, reason.file) == (code, Kind.REFUSE, None)
    assert what in reason.what and mend in reason.mend
