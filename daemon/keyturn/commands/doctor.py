"""`keyturn doctor`: say whether this machine can run the shop, and what to do where it cannot."""

from __future__ import annotations

import errno
import os
import sys
import time
from collections import deque
from collections.abc import Iterable, Iterator
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path

import typer
from PIL import features
from rich.console import Console

from keyturn.commands import (
    kept_health,
    notify_health,
    papers_health,
    radio_health,
    restore_health,
    service_health,
    words_health,
)
from keyturn.commands.console import DONE, WRONG_USE, JsonOption, RootOption, out, shop_of
from keyturn.commands.finding import Finding, Health, well
from keyturn.commands.folder_rights import keeps_group_back, too_open
from keyturn.commands.output import plain, write_json
from keyturn.inbox import events, open_files
from keyturn.outbox import shop_state
from keyturn.pipeline import frame_crew
from keyturn.shop import mounts, rulebook, settings
from keyturn.shop.disk_look import write_error
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.stray_rules import stray_rules

LITTLE_SPACE = 2 * 2**30
"""Bytes, enough for some hundred drops. With less free, the shop will soon pause."""

LITTLE_INODES = 10_000
CAP_LEASE = 1 << 28
"""The bit of CAP_LEASE (linux/capability.h)."""
FEW_WATCHES = 8
EARLIEST_CLOCK = datetime(2026, 1, 1)
"""Keyturn did not exist before this day, so an earlier clock is wrong."""

EXTRAS = (
    ("av", "video", "MP4, MOV and WebM clips"),
    ("pillow_heif", "photos", "HEIC photographs"),
    ("resvg_py", "drawings", "SVG drawings"),
    ("distributed", "cluster", "a cluster"),
    ("apprise", "notify", "messages to the shop's people"),
)
"""For each extra: the module it installs, its name, and what it is for."""


def doctor(root: RootOption = None, as_json: JsonOption = False) -> None:
    """Look at this machine and the shop: what is well, what to mind, what is ill, each with its remedy.

    Example: `keyturn doctor --root /srv/keyturn`
    """
    findings = examine(shop_of(root))
    if as_json:
        write_json([{"health": f.health, "what": f.what, "remedy": f.remedy} for f in findings])
    else:
        _print_findings(out, findings)
    raise typer.Exit(WRONG_USE if any(f.health is Health.ILL for f in findings) else DONE)


def _print_findings(console: Console, found: Iterable[Finding]) -> None:
    words = {Health.WELL: "[green]well[/]", Health.MIND: "[yellow]mind[/]", Health.ILL: "[bold red]ill [/]"}
    for finding in found:
        remedy = f" -> {plain(finding.remedy)}" if finding.remedy else ""
        console.print(f"{words[finding.health]}  {plain(finding.what)}{remedy}")


def examine(shop: Shop) -> list[Finding]:
    """Return the findings in the order in which an operator would look. Change nothing."""
    return [
        *_program(),
        *_rules(shop),
        *_stray_rules(shop),
        *radio_health.radios(shop),
        *_cluster(shop),
        *_folders(shop),
        *_space(shop),
        *kept_health.kept(shop),
        *_watching(shop),
        *_open_files(shop),
        *_clock(),
        *service_health.service(shop),
        *service_health.aside(shop),
        *service_health.hooks(shop),
        *notify_health.messages(shop),
        *papers_health.papers(shop),
        *restore_health.restores(shop),
        *words_health.words(shop),
    ]


def _program() -> Iterator[Finding]:
    version = ".".join(map(str, sys.version_info[:3]))
    yield well(f"Python {version}, {len(os.sched_getaffinity(0))} cores for frame work")
    for name, use in (("littlecms2", "colour profiles"), ("webp", "WebP art"), ("jpg", "JPEG art"), ("zlib", "PNG")):
        if not features.check(name):
            yield Finding(Health.ILL, f"Pillow was built without {name} ({use})", "install Pillow from its own wheels")
    for module, extra, use in EXTRAS:
        if find_spec(module) is None:
            yield well(f"without the extra {extra} ({use})")


def _rules(shop: Shop) -> Iterator[Finding]:
    for what, load in (("settings", lambda: settings.load(shop.root)), ("rules", lambda: rulebook.load(shop.rules))):
        try:
            load()
        except ShopFault as fault:
            yield Finding(Health.ILL, fault.what, fault.mend)
        except OSError as error:
            yield Finding(
                Health.ILL, f"the {what} cannot be read: {error}", "let Keyturn's user read plain files there"
            )
        else:
            yield well(f"the {what} are in order")


def _stray_rules(shop: Shop) -> Iterator[Finding]:
    try:
        for path, remedy in stray_rules(shop.rules):
            yield Finding(Health.MIND, f"{path.relative_to(shop.root)} is not read", remedy)
    except OSError:
        return  # _rules reports it


def _cluster(shop: Shop) -> Iterator[Finding]:
    """Ask the cluster, where one is set: it must answer, have workers, and run the same programs."""
    try:
        wanted, rules = settings.load(shop.root), rulebook.load(shop.rules)
    except (ShopFault, OSError):
        return  # _rules reports it
    if wanted.crew == "local":
        return
    try:
        crew = frame_crew(wanted, rules)
        try:
            deque(crew.run(len, (), str), maxlen=0)  # a run without jobs connects, compares the versions, and ends
        finally:
            crew.close()
    except ShopFault as fault:
        yield Finding(Health.ILL, fault.what, fault.mend)
    else:
        yield well(f"the cluster at {wanted.crew} answers, and its workers have the same programs")


def _folders(shop: Shop) -> Iterator[Finding]:
    for folder in (shop.inbox, shop.work, shop.outbox, shop.archive, shop.rejects, shop.state):
        kind = mounts.file_system(folder)
        if not folder.is_dir():
            yield Finding(Health.ILL, f"{folder} is not there", f"keyturn init {shop.root}")
        elif write_error(folder) == errno.EROFS:
            yield Finding(Health.ILL, f"{folder} is on a read-only file system", "mount it writable again")
        elif not os.access(folder, os.R_OK | os.W_OK | os.X_OK):
            yield Finding(Health.ILL, f"{folder} cannot be written", "give Keyturn's user the right to write there")
        elif folder == shop.state and kind in events.NETWORK_FILE_SYSTEMS:
            yield Finding(Health.MIND, f"{folder} lies on {kind}", "keep state on a local disk: SQLite needs its locks")
        else:
            yield well(f"{folder} can be written ({kind})")
    rights = (*too_open(shop), *keeps_group_back(shop))
    yield from (Finding(Health.MIND, what, remedy) for what, remedy in rights)
    yield from _one_mount(shop)


def _one_mount(shop: Shop) -> Iterator[Finding]:
    folders = [f for f in (shop.inbox, shop.work, shop.outbox, shop.archive, shop.rejects) if f.is_dir()]
    if len({f.stat().st_dev for f in folders}) > 1:
        what = "the shop's folders lie on several file systems, so drops are copied instead of renamed"
        yield Finding(Health.MIND, what, "keep inbox, work, outbox, archive and rejects on one, if you can")


def _space(shop: Shop) -> Iterator[Finding]:
    if not shop.root.is_dir():
        return
    space = os.statvfs(shop.root)
    free = space.f_bavail * space.f_frsize
    if free < LITTLE_SPACE:
        what = f"only {free / 2**20:,.0f} MiB are free"
        yield Finding(Health.MIND, what, "free some space, or let [keep] in keyturn.toml remove old drops")
    else:
        yield well(f"{free / 2**30:,.0f} GiB are free")
    if space.f_files and space.f_favail < LITTLE_INODES:
        yield Finding(Health.MIND, f"only {space.f_favail} more files can be made", "remove files, or a larger disk")


def _watching(shop: Shop) -> Iterator[Finding]:
    if not shop.inbox.is_dir():
        return
    kind = mounts.file_system(shop.inbox)
    try:
        wanted = settings.load(shop.root).watch
    except (ShopFault, OSError):
        return  # _rules reports it
    chosen = events.mode(wanted, shop.inbox)
    if chosen == "events" and kind in events.NETWORK_FILE_SYSTEMS:
        yield Finding(Health.MIND, f"events are asked for on {kind}, which gives none", 'set watch = "auto"')
    else:
        yield well(f"the inbox is watched by {chosen}")
    limit = _number(Path("/proc/sys/fs/inotify/max_user_instances"))
    if chosen == "events" and limit is not None and limit < FEW_WATCHES:
        yield Finding(Health.MIND, f"only {limit} inotify instances are allowed", "raise fs.inotify.max_user_instances")


def _open_files(shop: Shop) -> Iterator[Finding]:
    """Tell whose files the service sees while they are open for writing."""
    if not os.access(shop.inbox, os.R_OK | os.W_OK | os.X_OK):
        return  # _folders reports it
    kind = mounts.file_system(shop.inbox)
    if kind in events.NETWORK_FILE_SYSTEMS or not open_files.leases_work(shop.inbox):
        what = f"which files in the inbox are still open for writing cannot be seen ({kind})"
        remedy = 'artists can put in a final file: done = "done.txt" under [settle] in keyturn.toml'
        yield Finding(Health.MIND, what, remedy)
    elif _may_lease(shop):
        yield well("files in the inbox that are open for writing are seen by read leases, whoever owns them")
    else:
        own = "files in the inbox that are open for writing are seen by read leases where they are the service's own"
        yield well(f"{own}, others' by events, from a write on (systemd/keyturn-lease.conf: by leases too)")


def _may_lease(shop: Shop) -> bool:
    """Has the running service, or without one this process, the capability for leases on anybody's files?"""
    state = shop_state.read_state(shop)
    pid = state.pid if state and state.pid else "self"
    try:
        status = Path(f"/proc/{pid}/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return False
    effective = next((line for line in status.splitlines() if line.startswith("CapEff:")), "CapEff: 0")
    return bool(int(effective.split()[1], 16) & CAP_LEASE)


def _number(path: Path) -> int | None:
    try:
        return int(path.read_text())
    except (OSError, ValueError):
        return None


def _clock() -> Iterator[Finding]:
    now = datetime.fromtimestamp(time.time())
    if now < EARLIEST_CLOCK:
        yield Finding(Health.ILL, f"the clock says {now:%Y-%m-%d}", "set the clock; start a time service")
