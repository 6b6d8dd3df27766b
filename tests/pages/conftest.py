"""The hand-made records and the pages made from them, for the tests of the pages."""

from __future__ import annotations

from types import ModuleType

import pytest

import page_records


@pytest.fixture(scope="session")
def by_hand() -> ModuleType:
    """The module of hand-made records."""
    return page_records


@pytest.fixture(scope="session")
def pages(by_hand: ModuleType) -> dict[str, str]:
    """Every page by name, once made from ordinary records and once from hostile ones."""
    hostile = by_hand.HOSTILE
    return _pages(by_hand, "Fern Hollow Mobile Library") | {
        f"hostile-{name}": page for name, page in _pages(by_hand, hostile).items()
    }


def _pages(made: ModuleType, name: str) -> dict[str, str]:
    from keyturn.pages import board, card, rejects, sheet
    from keyturn.shop import rulebook
    from keyturn.shop.papers import Letterhead, Papers

    profiles = rulebook.load().radios
    hostile = name == made.HOSTILE
    words = {"job": name, "artist": name, "drop": name} if hostile else {}
    parts = (made.part(name, 48, pause=6, pause_s=0.5, art=name), made.LAMPS[1])
    titled = {"title": name, "parts": parts, "reasons": (made.mended("odd", name, file=name),)} if hostile else {}
    both = made.radio(**titled), made.radio("wide-1024x600", (1024, 600), **titled)
    old = made.job(made.radio(fps=10), customer=name, **words)
    new = made.job(*both, customer=name, revision=2, made_at="2026-03-02T09:30:00+00:00", **words)
    cautions = (name,) if hostile else made.CAUTIONS
    refused = made.rejection(drop=name, customer=name, reasons=(made.refuse("odd", name, name, file=name, field=name),))
    shop = made.state(
        paused=name if hostile else None,
        waiting=tuple(w.model_copy(update={"name": name, "note": name}) for w in made.state().waiting),
        ready=tuple(r.model_copy(update={"customer": name, "job": name}) for r in made.state().ready),
        refused=tuple(r.model_copy(update={"name": name, "customer": name}) for r in made.state().refused),
    )
    own = Letterhead(name, (name,), name, "shop@example.org") if hostile else made.LETTERHEAD
    return {
        "sheet": sheet.sheet(name, [(new, made.proof(new)), (old, made.proof(old))], cautions, papers=Papers(own)),
        "board": board.board(shop if hostile else made.state(), own),
        "card": card.cards(new, profiles, cautions, made.proof(new), own),
        "one-card": card.card(new, both[0], profiles[both[0].radio], cautions),
        "rejected": rejects.rejected_html(refused if hostile else made.rejection(), own),
    }
