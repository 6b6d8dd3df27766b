"""Refusing a drop that was not made: on it the service ended, or failed."""

from __future__ import annotations

from pathlib import Path

from keyturn.inbox.artist_folder import artist_folder
from keyturn.manifest import reading
from keyturn.service.claims import Claim
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.rulebook import Rulebook


def unread(drop: Path, scratch: Path, rules: Rulebook, reason: Reason) -> Refused:
    """Return the refusal of a drop that was not made, with its customer as far as its manifest says."""
    try:
        root, _ = artist_folder(drop, scratch, rules)
    except (Refused, OSError):
        return Refused([reason])
    manifest, _ = reading.read_leniently(root, max_kib=rules.intake.caps.manifest_kib)
    customer = manifest.customer if manifest and not manifest.each else None
    return Refused([reason], customer=customer, root=root)


def ended_abruptly(claim: Claim) -> Reason:
    """Return why a drop that ends the service is refused."""
    return refuse(
        "drop-defeats-service",
        f"the work on this drop ended abruptly {claim.tries} times, and that on others did not",
        "save the pictures anew and send it again; tell whoever runs Keyturn",
    )


def our_bug() -> Reason:
    """Return why a drop is refused on which Keyturn failed twice."""
    return refuse(
        "keyturn-bug",
        "Keyturn itself failed on this drop",
        "this is not your fault: tell whoever runs Keyturn, the service's log has the details",
    )
