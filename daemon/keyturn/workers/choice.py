"""Which crew the settings ask for: processes on this machine, or a cluster."""

from __future__ import annotations

from keyturn.shop.reasons import ShopFault
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import Settings
from keyturn.workers.crew import Crew, LocalCrew


def chosen_crew(wanted: Settings, rules: Rulebook, preload: str = "") -> Crew:
    """Return the crew that the settings name; `preload` as for `LocalCrew`.

    Raise `ShopFault` where a cluster is asked for and its library is not installed.
    """
    if wanted.crew == "local":
        return LocalCrew(wanted.workers, rules.intake.workers, preload)
    try:
        from keyturn.workers.cluster import ClusterCrew
    except ImportError as error:
        what = f"crew = {wanted.crew!r} needs the extra cluster ({error})"
        raise ShopFault(what, 'install "keyturn[cluster]", or set crew = "local"') from error
    return ClusterCrew(wanted.crew, rules.intake.workers, preload)
