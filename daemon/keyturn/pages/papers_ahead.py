"""Makes ready, while workers make a job's frames, what its card and sheet need: modules, templates, catalogues.

It takes 0.2 s of the first job of a new Keyturn, whose templates are compiled, and 0.05 s of a later command's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from threading import Thread

from keyturn.pages import render
from keyturn.pages.languages import language_of

TEMPLATES = tuple(f"{name}.html.j2" for name in "base card sheet job radio words charts answer exhibits".split())
"""The templates of card and sheet, and those that they take from."""


@contextmanager
def papers_ahead(languages: Iterable[str]) -> Iterator[None]:
    """Within this, a thread makes ready what papers in these languages need.

    A fault there is met again, and told, by whoever writes the papers.
    """
    thread = Thread(target=_make_ready, args=[list(languages)], name="papers ahead", daemon=True)
    thread.start()
    try:
        yield
    finally:
        thread.join()


def _make_ready(languages: list[str]) -> None:
    with suppress(Exception):
        from keyturn.pages import sheet  # noqa: F401 - imported here to be found imported later

        for code in dict.fromkeys(languages):
            render.make_ready(TEMPLATES, language_of(code))
