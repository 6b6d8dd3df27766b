"""From the files of films to the profile: read each one in a worker, learn from all of them, and store it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from keyturn.calibrate.film_frames import FilmReading
from keyturn.calibrate.film_learning import FilmLearnt, learn_films
from keyturn.calibrate.film_profile import store_films
from keyturn.calibrate.film_reading import FilmJob, read_film
from keyturn.calibrate.profile import Stored
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import Crew


@dataclass(frozen=True, slots=True)
class FilmLesson:
    """What films of one radio taught, and the SHA-256 of each by its name."""

    learnt: FilmLearnt
    digests: Mapping[str, str]

    def store(self, shop_rules: Path, radio: Radio, *, on: date) -> Stored:
        """Write it into the shop's own profile; see `film_profile.store_films`."""
        return store_films(shop_rules, radio, self.learnt, self.digests, on=on)

    def kept(self, stored: Stored) -> str:
        """Return in a sentence what has become of it."""
        known = len(self.learnt.starts) - stored.added
        count = f"{stored.added} added to {stored.kept} kept ({stored.dropped} older removed)"
        words = f"{count} in rules/radios/{stored.path.name}"
        return f"{words}; {known} known already" if known else words


def learn_from_files(radio: Radio, films: Mapping[str, Path], intake: Intake, crew: Crew) -> FilmLesson:
    """Learn from films, given by the names that reasons call them. Raise `Refused` with the reasons of all of them."""
    jobs = [FilmJob(path, name, radio.panel.size, intake) for name, path in films.items()]
    readings: list[FilmReading] = []
    reasons: list[Reason] = []
    for result in crew.run(read_film, jobs, lambda job: job.name):
        if isinstance(result, Refused):
            reasons += result.reasons
        else:
            readings.append(result)
    if reasons:
        raise Refused(reasons)
    return FilmLesson(learn_films(radio, readings), {name: _digest(path) for name, path in films.items()})


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
