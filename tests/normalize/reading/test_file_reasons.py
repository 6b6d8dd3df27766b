"""The one boundary that adds the file's name to reasons."""

from __future__ import annotations

import pytest

from keyturn.normalize.reading.file_reasons import about, named
from keyturn.shop.reasons import Refused, mended, note, refuse


def test_only_reasons_without_a_file_get_the_name() -> None:
    own, other = mended("a", "was mended"), note("b", "is noted", "leave it", file="job.toml", field="part.1")
    assert named([own, other], "lamps/01.png") == (mended("a", "was mended", file="lamps/01.png"), other)


def test_what_is_refused_in_the_block_names_the_file() -> None:
    with pytest.raises(Refused, match=r"lamps/01\.png \[logo\.art\]: is empty") as caught, about("lamps/01.png"):
        raise Refused([refuse("picture-empty", "is empty", "copy it again", field="logo.art")])
    assert caught.value.reasons == (
        refuse("picture-empty", "is empty", "copy it again", file="lamps/01.png", field="logo.art"),
    )


def test_a_name_that_is_not_utf_8_can_be_written_all_the_same() -> None:
    """PEP 383: such bytes become lone surrogates, which no page and no JSON can hold."""
    (reason,) = named([mended("a", "was mended")], "l\udcffmp.png")
    assert reason == mended("a", "was mended", file="l\udcffmp.png") and reason.file == "l\\udcffmp.png"


def test_other_errors_come_through() -> None:
    fault = OSError("as the disk says")
    with pytest.raises(OSError) as caught, about("a.png"):
        raise fault
    assert caught.value is fault
