"""The small picture of a job: the one that stays on the screen, in few bytes."""

from __future__ import annotations

import base64
import io

import pytest
from PIL import Image

import page_records as records
from keyturn.package import held_picture
from keyturn.shop.records import ProofRecord, RadioProof


def proof(logo: str, *frames: str) -> ProofRecord:
    order = (tuple(range(len(frames))),) if frames else ()
    return ProofRecord(radios=(RadioProof(radio="tiny", logo=logo, frames=frames, order=order),))


def lamp(made: bytes) -> tuple[int, ...]:
    """The colour in the middle of a picture."""
    with Image.open(io.BytesIO(made)) as picture:
        assert picture.format == "WEBP" and max(picture.size) <= 96
        pixel = picture.convert("RGB").getpixel((picture.width // 2, picture.height // 2))
    assert isinstance(pixel, tuple)
    return pixel


RED, GREEN, BLUE = (
    records.picture(number, lamp=lamp) for number, lamp in ((30, "#ff0000"), (31, "#00ff00"), (32, "#0000ff"))
)


@pytest.mark.parametrize(("shown", "channel"), [((RED, GREEN, BLUE), 2), ((BLUE, GREEN, BLUE), 1), ((RED,), 0)])
def test_it_is_the_last_picture_or_the_middle_one_where_the_last_is_the_logo(
    shown: tuple[str, ...], channel: int
) -> None:
    colour = lamp(held_picture.held_picture(proof(shown[0], *shown)))
    assert colour.index(max(colour)) == channel


def test_without_frames_it_is_the_logo() -> None:
    colour = lamp(held_picture.held_picture(proof(GREEN)))
    assert colour.index(max(colour)) == 1


def test_it_takes_few_bytes() -> None:
    """Even noise, of which nothing can be packed well."""
    file = io.BytesIO()
    Image.effect_noise((300, 400), 90).convert("RGB").save(file, "PNG")

    noise = "data:image/png;base64," + base64.b64encode(file.getvalue()).decode()
    assert len(held_picture.held_picture(proof(noise))) < 6000
