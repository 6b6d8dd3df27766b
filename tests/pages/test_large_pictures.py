"""Large pictures are shown where they are those of the revision."""

from __future__ import annotations

from types import ModuleType

import pytest

from keyturn.pages.large_pictures import large_pictures
from keyturn.shop.records import JobRecord, PlayerPicture, PlayerRecord, RadioPlayer


def large_of(job: JobRecord, **more: object) -> PlayerRecord:
    pictures = tuple(PlayerPicture(number=n, data=f"data:L{n}") for n in range(48))
    made = {"radio": job.radios[0].radio, "logo": 0, "width": 540, "height": 720, "pictures": pictures} | more
    return PlayerRecord(radios=(RadioPlayer.model_validate(made),))


def test_a_radio_gets_its_large_pictures(by_hand: ModuleType) -> None:
    job = by_hand.job()
    (shown,) = large_pictures("j1", job, by_hand.proof(job), large_of(job))
    assert shown.key == "j1r0" and len(shown.player.pictures) == 48


@pytest.mark.parametrize(
    "more",
    [
        {"radio": "another"},
        {"logo": 99},
        {"pictures": ()},
        {"pictures": tuple(PlayerPicture(number=n, data="data:L", base=99) for n in range(48))},
    ],
)
def test_pictures_of_something_else_are_left_out(by_hand: ModuleType, more: dict[str, object]) -> None:
    job = by_hand.job()
    assert not list(large_pictures("j1", job, by_hand.proof(job), large_of(job, **more)))
