"""A drop's way through the folders, safe against being killed at any instant.

Every step is one rename onto a name that was not there. Before a step that cannot be told from its
result alone, an intent is written beside the drop in work; recovery reads the intents and finishes
or repeats the step. Legal states between steps are tabled in DEVELOPERS.md.

    work/<claim>/claim.json      whose drop this is, how often it was tried
    work/<claim>/drop/           the artist's files (a zip or loose file lies inside)
    work/<claim>/publish.json    intent: this revision is being published
    work/<claim>/reject.json     intent: this drop is being rejected
    work/<claim>/return.json     intent: this drop is being sent back to the inbox
    inbox/.keyturn-leaving-<claim>  a claimed drop of an inbox on another mount
    outbox/.building/<claim>/    the revision being built
    state/numbers/<customer>/<job>-r<n>  an empty file: the job's highest revision so far
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Literal, TypeVar

from pydantic import ValidationError

from keyturn.inbox.moving import MOVING, Changed, already_moved, free_name, move, readable, remove, same
from keyturn.inbox.settle import Snapshot
from keyturn.inbox.survey import OURS, snapshot
from keyturn.outbox import revision_numbers
from keyturn.service.claims import Claim, Intent
from keyturn.shop import durable_files
from keyturn.shop.file_names import safe_name
from keyturn.shop.folders import SHARED_MODE, Shop
from keyturn.shop.records import JobRecord, Record, Rejection

_LEAVING = ".keyturn-leaving-"
"""A claimed drop of an inbox on another mount: hidden by one rename, then copied to work, then removed."""

R = TypeVar("R", bound=Record)


class DropFolders:
    """Moves drops. `now` gives aware UTC datetimes; it names things and never decides an order."""

    def __init__(self, shop: Shop, now: Callable[[], datetime]) -> None:
        self.shop = shop
        self._now = now

    # -- claiming -----------------------------------------------------------------------------

    def claim(self, name: str, seen: Snapshot) -> Claim:
        """Takes inbox/<name> by one rename. Raises `Changed` (and puts it back) where it is not as `seen`.

        After an OSError the drop may be anywhere between inbox and work: recovery puts that right, and needs
        claim.json for it.
        """
        source = self.shop.inbox / name
        form: Literal["folder", "file"] = "file" if source.is_symlink() or not source.is_dir() else "folder"
        claim = Claim(id=self._fresh_id(name), name=readable(name), form=form, claimed_at=self._stamp())
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
        if not same(self.artist_snapshot(claim), seen, inodes=not crossed):
            self.send_back(claim)
            raise Changed(f"{name} changed while it was being taken")
        return claim

    def _prepare(self, place: Path, claim: Claim) -> None:
        place.mkdir()
        if claim.form == "file":
            self.drop_of(claim).mkdir()
        self._write(place / "claim.json", claim)  # makes the drop's folder durable too
        durable_files.fsync_dir(self.shop.work)

    def _take(self, source: Path, claim: Claim) -> bool:
        """Moves the drop to work. Returns whether it crossed from another mount."""
        target = self._artist_path(claim)
        if source.lstat().st_dev == self.shop.work.stat().st_dev:
            move(source, target)
            return False
        leaving = self.shop.inbox / f"{_LEAVING}{claim.id}"
        move(source, leaving)
        try:
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

    def drop_of(self, claim: Claim) -> Path:
        return self.shop.work / claim.id / "drop"

    def _artist_path(self, claim: Claim) -> Path:
        """The artist's own folder or file within work."""
        drop = self.drop_of(claim)
        return drop if claim.form == "folder" else drop / claim.name

    def artist_snapshot(self, claim: Claim) -> Snapshot:
        return snapshot(self._artist_path(claim))

    def count_try(self, claim: Claim) -> Claim:
        """Written before each try, so that a drop that kills the service is known by its count."""
        tried = claim.model_copy(update={"tries": claim.tries + 1})
        self._write(self.shop.work / claim.id / "claim.json", tried)
        return tried

    def uncount_try(self, claim: Claim) -> None:
        place = self.shop.work / claim.id
        current = self._read(place / "claim.json", Claim)
        if current is not None and current.tries:
            self._write(place / "claim.json", current.model_copy(update={"tries": current.tries - 1}))

    def send_back(self, claim: Claim) -> Path:
        """Returns a drop to the inbox, beside a newer one of its name where there is one."""
        target = free_name(self.shop.inbox, claim.name)
        self._write(self.shop.work / claim.id / "return.json", Intent(target=target.name))
        move(self._artist_path(claim), target)
        self._discard(self.shop.work / claim.id)
        return target

    # -- publishing ---------------------------------------------------------------------------

    def staging(self, claim: Claim) -> Path:
        """A fresh, empty folder on the outbox's file system."""
        self.shop.building.mkdir(exist_ok=True)
        place = self.shop.building / claim.id
        remove(place)  # the disk's error, where there is one, is told as it is
        place.mkdir()
        return place

    def publish(self, claim: Claim, staged: Path, target: str) -> Path:
        """Makes the built revision appear as outbox/<target>, whole, and archives the artist's drop."""
        intent = Intent(target=target)
        durable_files.fsync_tree(staged)
        self._write(self.shop.work / claim.id / "publish.json", intent)
        self._move_in(staged, self.shop.outbox / target)
        self._archive(claim, intent)
        return self.shop.outbox / target

    def _move_in(self, source: Path, target: Path) -> None:
        """Renames into a folder made where it is missing; never onto something."""
        if not target.parent.is_dir():
            target.parent.mkdir(parents=True, exist_ok=True)
            target.parent.chmod(SHARED_MODE)
            durable_files.fsync_dir(target.parent.parent)
        move(source, target)

    def _archive(self, claim: Claim, intent: Intent) -> None:
        revision_numbers.keep(self.shop.numbers, intent.target)
        drop, kept = self.drop_of(claim), self.shop.archive / f"{intent.target}--{claim.id}"
        if drop.exists() and not already_moved(drop, kept):
            for ours in OURS:
                (drop / ours).unlink(missing_ok=True)
            self._move_in(drop, kept)
        self._discard(self.shop.work / claim.id)

    # -- rejecting ----------------------------------------------------------------------------

    def reject(self, claim: Claim, rejection: Rejection, pages: dict[str, str]) -> Path:
        """Moves the artist's files, as they came, with REJECTED.* to rejects/<name>."""
        place = self.shop.work / claim.id
        name = claim.name if claim.form == "folder" else (Path(claim.name).stem or claim.name)
        target = free_name(self.shop.rejects, name)
        self._write(place / "reject.json", Intent(target=target.name))
        drop = self.drop_of(claim)
        for page, text in pages.items():
            durable_files.write_atomic(drop / page, text.encode("utf-8"))
        durable_files.write_atomic(drop / "REJECTED.json", rejection.model_dump_json(indent=2).encode("utf-8"))
        durable_files.fsync_tree(drop)
        move(drop, target)
        self._discard(place)
        return target

    # -- recovery -----------------------------------------------------------------------------

    def recover(self) -> tuple[Claim, ...]:
        """Finishes or undoes what a killed service left; returns the drops still to be made, oldest first.

        Safe to be killed and run again at any point.
        """
        for folder in self._moving_places():
            remove(*folder.glob(f"{MOVING}*"))
        for base in (self.shop.state, self.shop.outbox):
            remove(*base.glob(durable_files.HALF_WRITTEN), *base.glob(f"*/{durable_files.HALF_WRITTEN}"))
        self._recover_leaving()
        places = sorted(p for p in self.shop.work.iterdir() if p.is_dir())
        recovered = [self.resume(place.name) for place in places]
        if self.shop.building.is_dir():
            remove(*self.shop.building.iterdir())
        return tuple(claim for claim in recovered if claim is not None)

    def _moving_places(self) -> list[Path]:
        """Folders into which a move between mounts may have been cut off."""
        folders = [self.shop.inbox, self.shop.rejects, self.shop.archive, self.shop.work]
        folders += [p for f in (self.shop.archive, self.shop.work) for p in f.iterdir() if p.is_dir()]
        folders += [p / "drop" for p in self.shop.work.iterdir() if (p / "drop").is_dir()]
        return folders

    def _recover_leaving(self) -> None:
        for leaving in self.shop.inbox.glob(f"{_LEAVING}*"):
            place = self.shop.work / leaving.name.removeprefix(_LEAVING)
            claim = self._read(place / "claim.json", Claim)
            if claim is not None and os.path.lexists(self._artist_path(claim)):
                remove(leaving)
            else:
                name = claim.name if claim else leaving.name.removeprefix(_LEAVING)
                move(leaving, free_name(self.shop.inbox, name))

    def resume(self, claim_id: str) -> Claim | None:
        """The claim, ready to be made; None where its drop had already gone on: that is then finished."""
        place = self.shop.work / claim_id
        if not place.is_dir():
            return None
        remove(*place.glob(durable_files.HALF_WRITTEN), *place.glob(f"drop/{durable_files.HALF_WRITTEN}"))
        claim = self._read(place / "claim.json", Claim)
        if claim is None or claim.id != claim_id:
            return self._foundling(place)
        intent = self._read(place / "publish.json", Intent)
        if intent is not None and self._published(claim, intent):
            self._archive(claim, intent)
            return None
        if not os.path.lexists(self._artist_path(claim)) or self._gone_on(claim, place):
            self._discard(place)
            return None
        for leftover in ("publish.json", "reject.json", "return.json"):
            (place / leftover).unlink(missing_ok=True)
        return claim

    def _gone_on(self, claim: Claim, place: Path) -> bool:
        """Had a move between mounts arrived before its original was removed? Then it is removed now."""
        rejected = self._read(place / "reject.json", Intent)
        if rejected and already_moved(self.drop_of(claim), self.shop.rejects / rejected.target):
            return True
        returned = self._read(place / "return.json", Intent)
        if returned is None:
            return False
        return already_moved(self._artist_path(claim), self.shop.inbox / returned.target)

    def _foundling(self, place: Path) -> Claim | None:
        """A work folder without a readable claim.json: files in it are somebody's drop and are kept."""
        drop = place / "drop"
        if not drop.is_dir() or not any(drop.iterdir()):
            self._discard(place)
            return None
        claim = Claim(id=place.name, name=place.name, form="folder", claimed_at=self._stamp())
        self._write(place / "claim.json", claim)
        return claim

    def went_out(self, claim: Claim) -> bool:
        """Is the revision made of this claim in the outbox while the drop is still in work?"""
        intent = self._read(self.shop.work / claim.id / "publish.json", Intent)
        return intent is not None and self._published(claim, intent)

    def _published(self, claim: Claim, intent: Intent) -> bool:
        record = self._read(self.shop.outbox / intent.target / "job.json", JobRecord)
        return record is not None and record.claim == claim.id

    # -- small things -------------------------------------------------------------------------

    def _discard(self, place: Path) -> None:
        """Removes a work folder whose drop is elsewhere; a drop still inside is never removed."""
        with suppress(FileNotFoundError):
            (place / "drop").rmdir()  # fails, rightly, where anything is left in it
        shutil.rmtree(place)
        durable_files.fsync_dir(self.shop.work)

    def _write(self, path: Path, record: Record) -> None:
        durable_files.write_atomic(path, record.model_dump_json().encode("utf-8"))

    def _read(self, path: Path, model: type[R]) -> R | None:
        """The record in `path`; None where it is missing or was never wholly written."""
        try:
            return model.model_validate_json(path.read_bytes())
        except (FileNotFoundError, NotADirectoryError, ValidationError):
            return None


Spool = DropFolders  # until claimed_drop.py says DropFolders
