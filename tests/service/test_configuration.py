"""Settings and rules are read again as a whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from keyturn.service.configuration import Configuration
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import Settings
from keyturn.workers.crew import InlineCrew


class Crew(InlineCrew):
    """A crew that knows whether it was closed."""

    closed = False

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def order() -> list[str]:
    """What was done, in its order."""
    return []


@pytest.fixture
def configuration(shop: Shop, order: list[str]) -> Iterator[Configuration]:
    def crew_of(wanted: Settings, rules: Rulebook) -> Crew:
        order.append("crew")
        return Crew()

    def on_settings(wanted: Settings) -> None:
        order.append("settings")

    made = Configuration(shop, lambda: datetime.now(UTC), crew_of, on_settings, lambda: None)
    yield made
    made.watch.stop()


def test_the_settings_are_known_before_the_crew_is_made_so_that_the_crew_can_log(
    configuration: Configuration, order: list[str]
) -> None:
    assert order == ["settings", "crew"]


def test_a_reload_takes_new_settings_and_rules_and_a_new_crew(configuration: Configuration, shop: Shop) -> None:
    before, inbox = configuration.crew, configuration.inbox
    (shop.rules / "radios" / "new.toml").write_text((shop.rules / "radios" / "tiny.toml").read_text())
    (shop.root / "keyturn.toml").write_text("scan_seconds = 7\n")
    configuration.reload()
    assert configuration.settings.scan_seconds == 7
    assert "new" in configuration.rules.radios
    assert isinstance(before, Crew) and before.closed
    assert configuration.crew is not before
    assert configuration.inbox is inbox, "what it knows of the waiting drops stays"


@pytest.mark.parametrize("name", ["keyturn.toml", "rules/safety.toml"])
def test_a_reload_that_fails_changes_nothing(configuration: Configuration, shop: Shop, name: str) -> None:
    before = configuration.settings, configuration.rules, configuration.crew, configuration.watch
    (shop.root / "keyturn.toml").write_text("scan_seconds = 7\n")
    (shop.root / name).write_text("wrong = [")
    with pytest.raises(ShopFault):
        configuration.reload()
    assert (configuration.settings, configuration.rules, configuration.crew, configuration.watch) == before
    assert isinstance(configuration.crew, Crew) and not configuration.crew.closed
