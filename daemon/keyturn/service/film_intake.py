"""Films of a radio's starts from the inbox: what they teach is stored where the service may, and published as a page.

Storing may happen twice, where a kill comes before publishing: a film whose start is known is not counted again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from loguru import logger

from keyturn.calibrate.films import FilmLesson
from keyturn.outbox import calibration_folders
from keyturn.pipeline import calibration
from keyturn.pipeline.bench import Bench
from keyturn.pipeline.calibration import FilmDrop, FilmsStored
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders


@dataclass(frozen=True, slots=True)
class LearntDrop:
    """A drop of films, and what they taught. Nothing is stored yet."""

    drop: FilmDrop
    lesson: FilmLesson
    bench: Bench

    def publish(self, claim: Claim, folders: DropFolders, rules_changed: Callable[[], None]) -> None:
        """Store it in the shop's rules where the service may, publish the page, and archive the films.

        `rules_changed` is called where the rules are others now.
        """
        shop, drop = folders.shop, self.drop
        target = calibration_folders.target_of(shop.outbox, drop.manifest.customer, drop.radio.name, claim.id)
        archived = shop.archive / f"{target}--{claim.id}"
        command = calibration.command_for(drop, folders.drop_of(claim), archived, shop.root)
        kept = calibration.store(drop, self.lesson, shop.rules, self.bench)
        staged = folders.staging(claim)
        stored = FilmsStored(kept, command)
        calibration.build(drop, self.lesson, stored, claim.id, claim.name, staged, self.bench)
        folders.publish(claim, staged, target)
        logger.success("{}: calibration of {} in outbox/{}", claim.name, drop.radio.name, target)
        if kept is None:
            logger.warning("{}: the rules are not the service's to change; run: {}", claim.name, command)
        else:
            rules_changed()


def learnt(drop: FilmDrop, bench: Bench) -> LearntDrop:
    """Return what the films teach. Raise `Refused` where they cannot be used."""
    return LearntDrop(drop, calibration.learnt(drop, bench), bench)
