"""What a sheet tells the customer, in plain sentences: no names of files, no figures that only a workshop needs."""

from __future__ import annotations

from collections.abc import Iterable

from keyturn.pages.in_words import plays_s
from keyturn.pages.languages import ENGLISH, N_, Language
from keyturn.radio.home_screen import UNNOTICED_S
from keyturn.shop.reasons import Reason
from keyturn.shop.records import FlashRecord, PartRecord, RadioProof, RadioRecord, TimelineRecord

_NUMBERS = "no one two three four five six seven eight nine ten eleven twelve".split()

_ART = {
    "packed-as-jpeg": N_("Some pictures lose a little sharpness, so that all of them fit onto the radio."),
    "packed-as-jpeg-to-fit": N_("Some pictures lose a little sharpness, so that all of them fit onto the radio."),
    "thinned": N_("Some pictures are left out, evenly, so that the animation ends in time: it moves less smoothly."),
    "thinned-to-fit": N_("Some pictures are left out, evenly, so that the others fit: it moves less smoothly."),
    "dithered": N_("This radio shows fewer shades than the art has. A fine grain hides the steps between them."),
    "cmyk-guessed": N_("Some of the art was made for print. Its colours may look different on the radio."),
    "profile-followed": N_("The art's colours were fitted to those of a screen."),
    "black-is-grey": N_("Black in some of the art is a dark grey, and glows at night."),
    "motion-cropped": N_("The screen has another shape than the art: something that moves is cut off at its edge."),
    "words-cut-off": N_("The screen has another shape than the art: some words are cut off at its edge."),
    "handoff-seen": N_("Where the logo gives way to the animation, a small change can be seen."),
    "hold-jumps": N_("Before the last picture comes to rest, the picture jumps."),
    "parts-jump": N_("Between two parts of the animation the picture jumps."),
    "frames-gap": N_("A picture seems to be missing in the art, and the motion may jump there."),
    "jumpy": N_("The animation shows few pictures a second, and looks more like single pictures than like motion."),
    "clip-retimed": N_("The clip's speed was fitted to the radio's."),
    "fps-limited": N_("The animation is slower than drawn: this radio cannot show pictures faster."),
    "film-hdr": N_("The film was made for brighter screens. Its brightest places are darker here."),
    "film-interlaced": N_("The film was recorded in half pictures: fine lines may show in quick motion."),
    "sound-left-out": N_("The animation has no sound: radios on the dash do not play it."),
    "hold-added": N_("The last picture was made to stay until the radio is ready."),
    "panel-fitted": N_("The animation was made for another screen, and was fitted to this one."),
    "cut-mid-motion": N_("In some starts the home screen comes while the animation is still moving."),
    "turned-upright": N_("A photograph was turned upright."),
    "frames-doubled": N_("A picture that was there twice was left out once."),
}
"""What a reason means to a customer, by its code. Reasons that change nothing that is seen are the workshop's."""


def seen(radio: RadioRecord, proof: RadioProof | None = None, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return a sentence for each thing that is seen, from the logo to the home screen.

    With `proof` it is known whether a picture that stands still is the one that the motion ends with.
    """
    told = [language.gettext("The logo stands still.")]
    several = sum(part.frames > 1 for part in radio.parts) > 1
    ready = False
    for number, part in enumerate(radio.parts):
        if not ready or part.type == "c":
            told.append(_part(part, radio.timeline, several, _is_same_picture(number, proof), language))
        ready = ready or part.count == 0
    if not ready:
        told.append(language.gettext("The last picture stays until the radio is ready."))
    return (*told, _home(radio.timeline, language))


def _part(part: PartRecord, timeline: TimelineRecord, several: bool, same: bool, language: Language) -> str:
    if part.frames == 1:
        told = _still(part, timeline, same, language)
    else:
        what = language.gettext("the animation")
        if several and _short(part.art):
            what = language.gettext("the animation “%(name)s”", name=language.isolated(_short(part.art)))
        told = _moving(part, timeline, what, language)
    if part.count and part.type == "c":
        told += " " + language.gettext("It plays to its end even when the radio is ready before.")
    return told


def _still(part: PartRecord, timeline: TimelineRecord, same: bool, language: Language) -> str:
    if part.count == 0 and same:
        return language.gettext("The last picture stays until the radio is ready.")
    if part.count == 0:
        return language.gettext("Then a still picture stays until the radio is ready.")
    length = language.seconds_in_full(plays_s(part, timeline))
    if same:
        return language.gettext("The last picture stays for %(length)s.", length=length)
    return language.gettext("Then a still picture stays for %(length)s.", length=length)


def _moving(part: PartRecord, timeline: TimelineRecord, what: str, language: Language) -> str:
    """Return the sentence about a part with motion; `what` is its subject."""
    _, rests = language.gettext, part.pause_s >= UNNOTICED_S
    rest = language.seconds_in_full(part.pause_s)
    if part.count == 0 and rests:
        return _(
            "Then %(what)s plays again and again until the radio is ready, and rests for %(rest)s after each time.",
            what=what,
            rest=rest,
        )
    if part.count == 0:
        return _("Then %(what)s plays again and again until the radio is ready.", what=what)
    length = language.seconds_in_full(plays_s(part, timeline))
    if part.count == 1 and rests:
        return _("Then %(what)s plays for %(length)s, and rests for %(rest)s.", what=what, length=length, rest=rest)
    if part.count == 1:
        return _("Then %(what)s plays for %(length)s.", what=what, length=length)
    if part.count == 2 and rests:
        return _(
            "Then %(what)s plays twice, for %(length)s, and rests for %(rest)s after each time.",
            what=what,
            length=length,
            rest=rest,
        )
    if part.count == 2:
        return _("Then %(what)s plays twice, for %(length)s.", what=what, length=length)
    times = number(part.count, language)
    if rests:
        return language.ngettext(
            "Then %(what)s plays %(times)s time, for %(length)s, and rests for %(rest)s after each time.",
            "Then %(what)s plays %(times)s times, for %(length)s, and rests for %(rest)s after each time.",
            part.count,
            what=what,
            times=times,
            length=length,
            rest=rest,
        )
    return language.ngettext(
        "Then %(what)s plays %(times)s time, for %(length)s.",
        "Then %(what)s plays %(times)s times, for %(length)s.",
        part.count,
        what=what,
        times=times,
        length=length,
    )


def _is_same_picture(number: int, proof: RadioProof | None) -> bool:
    """Tell whether the part begins with the picture that the part before ends with."""
    order = proof.order if proof else ()
    return 0 < number < len(order) and bool(order[number]) and order[number][0] == order[number - 1][-1]


def _short(art: str) -> str:
    """Return what people call the art: its folder, or the file without its ending."""
    folder, _, file = art.replace("\\", "/").rpartition("/")
    name = folder.rpartition("/")[2] if folder else file.rpartition(".")[0] or file
    return "" if any(sign in name for sign in "*?[") else name


def _home(timeline: TimelineRecord, language: Language) -> str:
    if timeline.delay_s <= UNNOTICED_S:
        return language.gettext("Then the home screen appears.")
    late = language.seconds_in_full(timeline.delay_s)
    return language.gettext("Then the home screen appears, up to %(late)s later than without the animation.", late=late)


def sure(timeline: TimelineRecord, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return how the start-up times are known, and in how many starts the animation plays to its end."""
    _, times = language.gettext, len(timeline.boot_samples_s)
    span = {
        "shortest": language.decimal(timeline.boot_shortest_s),
        "longest": language.seconds_in_full(timeline.boot_longest_s, whole=True),
    }
    if times:
        known = language.ngettext(
            "We have timed the start of such a radio %(times)s time: %(shortest)s to %(longest)s.",
            "We have timed the start of such a radio %(times)s times: %(shortest)s to %(longest)s.",
            times,
            times=number(times, language),
            **span,
        )
    else:
        known = _(
            "We have not timed this radio's start. We count on %(shortest)s to %(longest)s, usually %(usual)s.",
            usual=language.seconds_in_full(timeline.boot_usual_s, whole=True),
            **span,
        )
    if timeline.once_only_s <= 0:
        return known, _("The home screen may come at any moment of the animation.")
    if timeline.share_finished >= 1:
        return known, _("The animation plays to its end in all of these starts.")
    if timeline.measured:
        return known, _(
            "The animation plays to its end in %(finished)s of these %(times)s starts; "
            "in the others the home screen comes while it is still moving.",
            finished=number(timeline.measured.finished, language),
            times=number(timeline.measured.starts, language),
        )
    return known, _(
        "The animation plays to its end in %(share)s of these starts; "
        "in the others the home screen comes while it is still moving.",
        share=language.share(timeline.share_finished),
    )


def flashes(flash: FlashRecord, language: Language = ENGLISH) -> str:
    """Return the flash check's result in a sentence."""
    most = max(flash.general_max_per_s, flash.red_max_per_s)
    figures = {"often": number(most, language), "limit": number(flash.most_per_s, language)}
    if not flash.passes:
        return language.ngettext(
            "It flashes up to %(often)s time within a second. The usual limit is %(limit)s.",
            "It flashes up to %(often)s times within a second. The usual limit is %(limit)s.",
            most,
            **figures,
        )
    if most == 0:
        return language.gettext("We looked for flashing light and found none.")
    if most == 1:
        return language.gettext(
            "It flashes at most once within a second. The usual limit is %(limit)s.", limit=figures["limit"]
        )
    return language.ngettext(
        "It flashes at most %(often)s time within a second. The usual limit is %(limit)s.",
        "It flashes at most %(often)s times within a second. The usual limit is %(limit)s.",
        most,
        **figures,
    )


def art_changes(reasons: Iterable[Reason], language: Language = ENGLISH) -> tuple[str, ...]:
    """Return what the reasons mean for the art, each thing once."""
    return tuple(dict.fromkeys(language.gettext(_ART[reason.code]) for reason in reasons if reason.code in _ART))


def number(count: int, language: Language = ENGLISH) -> str:
    """Return a number as it is written in a sentence: in English words up to twelve, else figures."""
    if language.code == "en" and 0 <= count < len(_NUMBERS):
        return _NUMBERS[count]
    return language.decimal(count)
