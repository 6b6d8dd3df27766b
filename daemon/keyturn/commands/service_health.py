"""What `keyturn doctor` says of the service, its unit and its hooks."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from keyturn.commands.finding import Finding, Health, well
from keyturn.outbox import shop_state
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault


def service(shop: Shop) -> Iterator[Finding]:
    """Tell whether the service runs and is paused, and what systemd says of it."""
    try:
        running = shop.is_running()
    except ShopFault:
        remedy = "ask as Keyturn's user: runuser -u keyturn -- keyturn doctor"
        yield Finding(Health.MIND, f"whether the service runs cannot be seen: {shop.lock} is private", remedy)
    else:
        if running:
            yield well("the service runs")
            yield from _what_it_says(shop)
        elif shop.state.is_dir():
            remedy = f"keyturn run --root {shop.root}, or systemctl start keyturn"
            yield Finding(Health.MIND, "the service does not run", remedy)
    state = _unit_state()
    if state in ("failed", "inactive"):
        yield Finding(Health.MIND, f"systemd says keyturn.service is {state}", "journalctl -u keyturn tells why")
    elif state:
        yield well(f"systemd says keyturn.service is {state}")


def _what_it_says(shop: Shop) -> Iterator[Finding]:
    try:
        state = shop_state.current_state(shop)
    except OSError as error:
        yield Finding(Health.MIND, f"what the service does cannot be read: {error}", "ask as Keyturn's user")
        return
    if state.out_of_date:
        yield Finding(Health.MIND, state.out_of_date, "see its log; if it hangs, start it again")
    if state.paused:
        what, _, mend = state.paused.partition(" -> ")
        yield Finding(Health.ILL, f"the service is paused: {what}", mend or "its log tells more; drops are safe")
    if state.removal_waits:
        what = f"nothing old is removed from archive and rejects yet: {state.removal_waits}"
        yield Finding(Health.MIND, what, "see that the clock is right (timedatectl); then it passes by itself")
    if state.settings_fault:
        what, _, mend = state.settings_fault.partition(" -> ")
        reload = "then reload the service (SIGHUP, or systemctl reload keyturn)"
        what = f"settings and rules are in force as they were before: {what}"
        yield Finding(Health.ILL, what, f"{mend}; {reload}" if mend else f"mend the file, {reload}")


def aside(shop: Shop) -> Iterator[Finding]:
    """Tell of the drops that are set aside."""
    for drop in shop_state.aside(shop):
        yield Finding(Health.MIND, f"{drop.name} is set aside ({drop.place}): {drop.what}", drop.mend)


def _unit_state() -> str:
    """Return the unit's state as systemd names it; empty without systemd or without the unit."""
    return _unit("ActiveState")


def hooks(shop: Shop) -> Iterator[Finding]:
    """A hook has what the unit has: without a network, one that sends mail fails."""
    try:
        commands = settings.load(shop.root).hooks
    except (ShopFault, OSError):
        return  # _rules reports it
    if (commands.ready or commands.refused or commands.answered) and has_no_network():
        what = "keyturn.service has no network, so a hook that sends mail or asks another machine fails"
        yield Finding(Health.MIND, what, "install systemd/keyturn-hooks.conf; leave it out where no hook needs it")


def has_no_network() -> bool:
    """Does systemd deny the service the network?"""
    return _unit("PrivateNetwork") == "yes"


def _unit(name: str) -> str:
    """Return a property of keyturn.service as systemd knows it; empty without systemd or without the unit."""
    program = shutil.which("systemctl")
    if program is None or not Path("/run/systemd/system").is_dir():
        return ""
    asked = [program, "show", "keyturn.service", f"--property=LoadState,{name}"]
    try:
        lines = subprocess.run(asked, capture_output=True, text=True, timeout=10, check=False).stdout.splitlines()
    except (OSError, subprocess.TimeoutExpired):
        return ""
    said = {key: value for key, _, value in (line.partition("=") for line in lines)}
    return said.get(name, "") if said.get("LoadState") == "loaded" else ""
