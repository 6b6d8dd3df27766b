"""What follows from the shop's settings and rules: the crew, which drops count as whole, how the inbox is watched."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial

from loguru import logger

from keyturn.inbox.events import Watch
from keyturn.inbox.waiting import Inbox
from keyturn.outbox import restore_folders
from keyturn.pipeline import Bench, kept_results
from keyturn.shop import papers, rulebook, settings
from keyturn.shop.folders import Shop
from keyturn.shop.progress import Progress
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import Settings
from keyturn.shop.shop_fonts import ShopFonts
from keyturn.workers.crew import Crew

CrewOf = Callable[[Settings, Rulebook], Crew]


class Configuration:
    """The settings and rules now in force, and what is made from them.

    `crew_of` makes the crew. `on_settings` is called with the settings before anything is made from them: they say
    where to log. `changed` is called, on another thread, when something in the inbox changes.
    Raise `ShopFault` where a file is wrong, OSError where the disk does not give it.
    """

    def __init__(
        self,
        shop: Shop,
        now: Callable[[], datetime],
        crew_of: CrewOf,
        on_settings: Callable[[Settings], None],
        changed: Callable[[], None],
    ) -> None:
        self._shop, self._now, self._crew_of, self._changed = shop, now, crew_of, changed
        self.settings, self.rules = settings.load(shop.root), rulebook.load(shop.rules)
        on_settings(self.settings)
        self.papers = papers.of_shop(self.settings, shop.root)
        self.crew = crew_of(self.settings, self.rules)
        self.kept = kept_results(shop.kept, self.settings.keep)
        self.inbox = Inbox(shop, self.settings, self.rules, now)
        self.watch = Watch(shop.inbox, self.settings.watch, changed)

    def bench(self, progress: Progress) -> Bench:
        """Return what one drop is made with."""
        fonts, restores = ShopFonts(self._shop.fonts), partial(restore_folders.kept, self._shop.outbox)
        papers, kept = self.papers, self.kept
        bench = Bench(self.rules, self.crew, self._now, progress, papers, kept, fonts=fonts, restores=restores)
        return bench.for_one_drop()

    def reload(self) -> None:
        """Read settings and rules again and act by them. Where that raises, nothing is changed."""
        wanted, rules = settings.load(self._shop.root), rulebook.load(self._shop.rules)
        crew = self._crew_of(wanted, rules)
        self.settings, self.rules, self.papers = wanted, rules, papers.of_shop(wanted, self._shop.root)
        self.kept = kept_results(self._shop.kept, wanted.keep)
        self.inbox.renew(wanted, rules)
        self.crew.close()
        self.crew = crew
        self.watch.stop()
        self.watch = Watch(self._shop.inbox, wanted.watch, self._changed)
        self.watch.start()
        logger.info("settings and rules were read again")
