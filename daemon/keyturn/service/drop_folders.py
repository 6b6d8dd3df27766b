"""Moves a drop through the shop's folders, so that a kill at any instant loses nothing and doubles nothing.

Every step is one rename to a name that did not exist. Where the result of a step does not show by itself
whether the step was done, an intent is written beside the drop in work before it. After a kill `resume`
reads the intents and finishes or repeats the step. DEVELOPERS.md has a table of what may be found then.

    work/<claim>/claim.json      which drop this is, and how many tries it has had
    work/<claim>/aside.json      the faults it met, see set_aside
    work/<claim>/drop/           the artist's files (a zip or loose file lies inside)
    work/<claim>/publish.json    intent: this revision, or these of a fleet, are being published
    work/<claim>/rest/           the faulty rows of a fleet of which the others are published
    work/<claim>/reject.json     intent: this drop is being rejected
    work/<claim>/return.json     intent: this drop is being sent back to the inbox
    work/<claim>/entered.json    intent: what this slip or these stock files say is in the outbox already
    inbox/.keyturn-leaving-<claim>--<name>  a claimed drop, where the inbox is on another mount
    outbox/.building/<claim>/    the revision being built, or a folder for each of a fleet
    state/numbers/<customer>/<job>-r<n>  an empty file: the job's highest revision so far
    state/published/<customer>/<job>-r<n>  the SHA-256 of the revision's job.json
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Literal

from keyturn.inbox.moving import Changed, finish_move, free_name, move, readable, rename_folders, same_snapshot
from keyturn.inbox.open_files import is_open
from keyturn.inbox.survey import MENDED, Snapshot, is_small, snapshot
from keyturn.service.claims import Claim, Intent, leaving_name, read_record, write_record
from keyturn.service.revision_folders import RevisionFolders
from keyturn.shop import durable_files
from keyturn.shop.file_modes import open_to_group
from keyturn.shop.file_names import safe_name, without_ending
from keyturn.shop.folders import Shop
from keyturn.shop.own_files import remove_left_over
from keyturn.shop.records import Rejection


class DropFolders(RevisionFolders):
    """The shop's folders, and the moves of drops between them.

    `now` returns aware UTC datetimes. They go into names and records; no decision depends on them.
    """

    def __init__(self, shop: Shop, now: Callable[[], datetime]) -> None:
        super().__init__(shop)
        self._now = now

    # -- claiming -----------------------------------------------------------------------------

    def claim(self, name: str, seen: Snapshot, *, rush: bool = False) -> Claim:
        """Move inbox/<name> to work by one rename. Raise `Changed`, and put it back, where it is not as `seen` or
        somebody has opened a file of it for writing.

        After an OSError the drop may lie anywhere between inbox and work. `recovery.recover` puts that right,
        and needs claim.json to do it; so claim.json is left where it is.
        """
        source = self.shop.inbox / name
        form: Literal["folder", "file"] = "file" if source.is_symlink() or not source.is_dir() else "folder"
        claim = Claim(
            id=self._fresh_id(name),
            name=readable(name),
            form=form,
            claimed_at=self._stamp(),
            is_small=is_small(seen),
            is_rush=rush,
        )
        place = self.shop.work / claim.id
        try:
            self._prepare(place, claim)
            crossed = self._take(source, claim)
        except FileNotFoundError:
            self._discard(place)
            raise Changed(f"{name} is gone") from None
        except Changed:
            self._discard(place)
            raise
        if not same_snapshot(self.artist_snapshot(claim), seen, inodes=not crossed) or self.is_written(claim):
            self.send_back(claim)
            raise Changed(f"{name} changed while it was being taken")
        return claim

    def _prepare(self, place: Path, claim: Claim) -> None:
        place.mkdir()
        if claim.form == "file":
            self.drop_of(claim).mkdir()
        write_record(place / "claim.json", claim)  # makes the drop's folder durable too
        durable_files.fsync_dir(self.shop.work)

    def _take(self, source: Path, claim: Claim) -> bool:
        """Move the drop to work. Return whether it came from another mount."""
        target = self.artist_path(claim)
        if source.lstat().st_dev == self.shop.work.stat().st_dev:
            move(source, target)
            return False
        leaving = self.shop.inbox / leaving_name(claim.id, source.name)
        move(source, leaving)
        try:
            if is_open(leaving):
                raise Changed(f"{claim.name} is being written to")
            move(leaving, target)
        except BaseException:
            if os.path.lexists(leaving) and not os.path.lexists(target):
                move(leaving, free_name(self.shop.inbox, claim.name))
            raise
        return True

    def _fresh_id(self, name: str) -> str:
        return f"{self._now():%Y%m%dT%H%M%S}-{secrets.token_hex(3)}-{safe_name(name, 40)}"

    def _stamp(self) -> str:
        return self._now().isoformat(timespec="seconds")

    def artist_path(self, claim: Claim) -> Path:
        """Return the path of the artist's own folder or file within work."""
        drop = self.drop_of(claim)
        return drop if claim.form == "folder" else drop / claim.name

    def artist_snapshot(self, claim: Claim) -> Snapshot:
        """Return the names, sizes, times and inodes of the artist's files in work."""
        return snapshot(self.artist_path(claim))

    def is_written(self, claim: Claim) -> bool:
        """Return whether somebody is known to have one of the artist's files open for writing."""
        return is_open(self.artist_path(claim))

    def send_back(self, claim: Claim) -> Path:
        """Move a drop back to the inbox and return its new path.

        Where a newer drop has its name, a number is added to it: "van-2".
        """
        target = free_name(self.shop.inbox, claim.name)
        write_record(self.shop.work / claim.id / "return.json", Intent(target=target.name))
        open_to_group(self.artist_path(claim))
        move(self.artist_path(claim), target)
        self._discard(self.shop.work / claim.id)
        return target

    # -- rejecting ----------------------------------------------------------------------------

    def reject(self, claim: Claim, rejection: Rejection, pages: dict[str, str]) -> Path:
        """Move the artist's files, unchanged, to rejects/<name> and add REJECTED.*. Return the new path.

        `pages` maps the names of the pages that explain the rejection to their text.
        """
        place = self.shop.work / claim.id
        target = free_name(self.shop.rejects, _folder_name(claim))
        write_record(place / "reject.json", Intent(target=target.name))
        drop = self.drop_of(claim)
        _add_pages(drop, rejection, pages)
        move(drop, target)
        self._discard(place)
        return target

    def lay_rest(
        self, claim: Claim, root: Path, changed: Mapping[str, bytes], rejection: Rejection, pages: dict[str, str]
    ) -> str:
        """Copy the artist's folder `root`, with the files in `changed` in the place of its own, for the rows of a fleet
        that are refused while the others are published. Return its name in rejects."""
        rest = self.rest_of(claim)
        shutil.rmtree(rest, ignore_errors=True)
        durable_files.copy_tree(root, rest)
        for name, data in changed.items():
            (rest / name).write_bytes(data)
        _add_pages(rest, rejection, pages)
        return free_name(self.shop.rejects, _folder_name(claim)).name

    # -- after a fault or a kill --------------------------------------------------------------

    def resume(self, claim_id: str) -> Claim | None:
        """Return the claim, ready to be made. Return None where its drop had already left work.

        In that case whatever the last step left undone is finished: archiving, or removing the work folder.
        """
        place = self.shop.work / claim_id
        if not place.is_dir():
            return None
        for folder in (place, place / "drop"):
            remove_left_over(folder, durable_files.HALF_WRITTEN)
        claim = read_record(place / "claim.json", Claim)
        if claim is None or claim.id != claim_id:
            return self._claim_without_record(place)
        if self.finish_publishing(claim):
            return None
        if not os.path.lexists(self.artist_path(claim)) or self._arrived_elsewhere(claim, place):
            self._discard(place)
            return None
        for leftover in ("reject.json", "return.json", "entered.json"):
            (place / leftover).unlink(missing_ok=True)
        shutil.rmtree(place / "rest", ignore_errors=True)
        return claim

    def _arrived_elsewhere(self, claim: Claim, place: Path) -> bool:
        """Return whether the drop has already arrived in rejects, the inbox or, as a slip, the archive.

        A move between mounts may have been cut off after the copy arrived. The original is then removed here.
        """
        rejected = read_record(place / "reject.json", Intent)
        if rejected and finish_move(self.drop_of(claim), self.shop.rejects / rejected.target):
            return True
        entered = read_record(place / "entered.json", Intent)
        if entered and finish_move(self.drop_of(claim), self._kept(claim, entered.target)):
            return True
        returned = read_record(place / "return.json", Intent)
        if returned is None:
            return False
        return finish_move(self.artist_path(claim), self.shop.inbox / returned.target)

    def _claim_without_record(self, place: Path) -> Claim | None:
        """Return a new claim for a work folder whose claim.json cannot be read; None where it holds no files.

        Files in it are somebody's drop and are kept. The claim takes the folder's name.
        """
        drop = place / "drop"
        if not drop.is_dir() or not any(drop.iterdir()):
            self._discard(place)
            return None
        claim = Claim(id=place.name, name=place.name, form="folder", claimed_at=self._stamp())
        write_record(place / "claim.json", claim)
        return claim

    def went_on(self, claim: Claim) -> bool:
        """Return whether a revision made from this claim is in the outbox, or the drop has left work."""
        return not os.path.lexists(self.artist_path(claim)) or bool(self.published(claim))


def _folder_name(claim: Claim) -> str:
    return claim.name if claim.form == "folder" else without_ending(claim.name)


def _add_pages(folder: Path, rejection: Rejection, pages: Mapping[str, str]) -> None:
    """Add REJECTED.* to a folder that is to go to rejects, and make it durable."""
    with suppress(FileNotFoundError, IsADirectoryError):
        (folder / MENDED).unlink()
    rename_folders(folder, (*pages, "REJECTED.json"))
    for page, text in pages.items():
        durable_files.write_atomic(folder / page, text.encode("utf-8"))
    durable_files.write_atomic(folder / "REJECTED.json", rejection.model_dump_json(indent=2).encode("utf-8"))
    open_to_group(folder)
    durable_files.fsync_tree(folder)
