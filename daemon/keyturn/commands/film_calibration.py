"""`keyturn calibrate --film`: learn from films of starts, store it, and write the page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from keyturn.calibrate import film_page, film_report
from keyturn.calibrate.films import learn_from_files
from keyturn.commands import output
from keyturn.commands.console import err, out, profile_of, shop_of
from keyturn.commands.make import bench_of
from keyturn.shop import durable_files, rulebook
from keyturn.shop.reasons import writable
from keyturn.shop.wrong_use import WrongUse


def learn_films(radio: str, films: Sequence[Path], page: Path | None, root: Path | None) -> None:
    """Learn from `films` and store it in the shop's own rules. `page` is the page's file, by default in the folder
    in which the command is called; the picture lies beside it as SVG."""
    shop = shop_of(root)
    shop.require()
    profile = profile_of(rulebook.load(shop.rules), radio)
    if missing := [str(film) for film in films if not film.is_file()]:
        raise WrongUse(f"--film: there is no file {', '.join(missing)}", "name the films as the phone made them")
    target = output.page_file(page or Path(f"calibration-{radio}.html"))
    named = {_name(film, films): film for film in films}
    with bench_of(root) as bench:
        bench.progress.stage("films")
        lesson = learn_from_files(profile, named, bench.rules.intake, bench.crew)
        today = bench.now().date()
    stored = lesson.store(shop.rules, profile, on=today)
    for line in film_report.describe_films(lesson.learnt):
        out.print(output.plain(line))
    kept = lesson.kept(stored)
    made_on = datetime.now(UTC).date().isoformat()
    text = film_page.film_page(lesson.learnt, profile.title, made_on, kept)
    durable_files.write_atomic(target, text.encode("utf-8"))
    durable_files.write_atomic(target.with_suffix(".svg"), film_page.picture(lesson.learnt).encode("utf-8"))
    out.print(output.plain(f"{kept}; a running service reads it on SIGHUP"))
    err.print(f"The page: {output.plain(target.as_uri())}", soft_wrap=True)


def _name(film: Path, films: Sequence[Path]) -> str:
    """Return what reasons call a film: its file's name, or its path where two have the same name."""
    return writable(film.name if sum(other.name == film.name for other in films) == 1 else str(film))
