"""The sentences of the sheet's player, which writes them in the browser (player.js)."""

from __future__ import annotations

from keyturn.pages.languages import N_, Language

_WORDS = {
    "logo": N_("boot logo"),
    "home": N_("%(time)s s: home screen"),
    "frame": N_("%(time)s s: picture %(frame)s of %(frames)s"),
    "resting": N_("%(time)s s: picture %(frame)s of %(frames)s, resting"),
    "play": N_("Play"),
    "pause": N_("Pause"),
    "again": N_("Play again"),
    "seconds": N_("%(time)s s"),
    "where": N_("picture %(frame)s of %(frames)s"),
    "all_played": N_("A start of %(start)s s: everything has played after %(end)s s; the last picture was %(where)s."),
    "plays_on": N_(
        "A start of %(start)s s: booted at %(where)s, which plays to its end: the home screen comes %(late)s s later."
    ),
    "cut": N_("A start of %(start)s s: the radio cuts in at %(where)s, in mid-motion."),
    "cut_in_play": N_(
        "A start of %(start)s s: the radio cuts in at %(where)s, play %(play)s of %(plays)s, in mid-motion."
    ),
    "repeating": N_("A start of %(start)s s: the radio cuts in at %(where)s, which was repeating."),
    "standing": N_("A start of %(start)s s: nothing is cut; %(where)s is standing still."),
}


def player_words(language: Language) -> dict[str, str]:
    """Return the sentences by their names in player.js, and under "point" what stands before decimals."""
    words = {name: language.catalogue.gettext(message) for name, message in _WORDS.items()}
    return words | {"point": language.decimal(0.5, 1)[1]}
