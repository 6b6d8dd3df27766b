"""The large pictures of a sheet's players, where they belong to the revision."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from keyturn.pages.schedule import pictures
from keyturn.shop.records import JobRecord, PlayerRecord, ProofRecord, RadioPlayer, RadioProof, RadioRecord


@dataclass(frozen=True, slots=True)
class LargePictures:
    """The player's pictures of one radio, for the section whose HTML ids begin with `key`."""

    key: str
    record: RadioRecord
    player: RadioPlayer


def large_pictures(key: str, job: JobRecord, proof: ProofRecord, player: PlayerRecord) -> Iterator[LargePictures]:
    """Yield the pictures of the radios that have them. What does not fit the other records is left out."""
    proofs = {of.radio: of for of in proof.radios}
    players = {of.radio: of for of in player.radios}
    for number, radio in enumerate(job.radios):
        shown, large = proofs.get(radio.radio), players.get(radio.radio)
        if shown and large and _belong_together(shown, large):
            yield LargePictures(f"{key}r{number}", radio, large)


def _belong_together(proof: RadioProof, player: RadioPlayer) -> bool:
    there = {picture.number: picture for picture in player.pictures}
    shown = {number for order in proof.order for number in order}
    still = (player.logo, proof.order[0][0], proof.order[-1][-1]) if shown else ()
    return (
        bool(shown)
        and shown | {player.logo} <= set(there) <= set(range(len(pictures(proof))))
        and all(there[number].base is None for number in still)
        and all(picture.base is None or there.get(picture.base) for picture in player.pictures)
    )
