"""All errors of a manifest are reported at once, each with its field and a mend in the artist's words."""

from __future__ import annotations

import pytest

from keyturn.manifest import reading
from keyturn.shop.reasons import Reason, Refused

LEAST = b'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\n'


def refused(data: bytes) -> dict[str, Reason]:
    with pytest.raises(Refused) as caught:
        reading.parse(data)
    return {str(r.field): r for r in caught.value.reasons}


def test_every_error_is_told_at_once_each_with_its_field() -> None:
    found = refused(
        b'custmer = "F"\nradio = "x"\nfit = "stretch"\nbackground = "red"\n'
        b'[motion]\nfps = "fast"\n[[part]]\nart = "a/*"\nplays = 0\npause = -1\n'
    )
    assert set(found) == {
        "customer", "custmer", "fit", "background", "motion.fps", "part.1.plays", "part.1.pause",
    }  # fmt: skip
    assert all(r.mend and r.file == "job.toml" for r in found.values())


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        (b'backgroud = "#000000"', '"background"'),
        (b"Rush = true", '"rush"'),
        (b"fps = 12", "[motion]"),
        (b'plays = "until-booted"', "[part]"),
    ],
)
def test_an_unknown_key_names_the_nearest_or_where_it_belongs(line: bytes, hint: str) -> None:
    (reason,) = refused(LEAST + line).values()
    assert reason.code == "manifest-key-unknown"
    assert hint in reason.mend
