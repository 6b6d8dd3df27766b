"""What a sheet tells the customer, in plain sentences: no names of files, no figures that only a workshop needs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from keyturn.pages.in_words import plays_s
from keyturn.pages.render import share
from keyturn.radio.home_screen import UNNOTICED_S
from keyturn.shop.reasons import Reason
from keyturn.shop.records import FlashRecord, PartRecord, RadioProof, RadioRecord, TimelineRecord

_NUMBERS = "no one two three four five six seven eight nine ten eleven twelve".split()

_ART = {
    "packed-as-jpeg": "Some pictures lose a little sharpness, so that all of them fit onto the radio.",
    "packed-as-jpeg-to-fit": "Some pictures lose a little sharpness, so that all of them fit onto the radio.",
    "thinned": "Some pictures are left out, evenly, so that the animation ends in time: it moves less smoothly.",
    "thinned-to-fit": "Some pictures are left out, evenly, so that the others fit: it moves less smoothly.",
    "dithered": "This radio shows fewer shades than the art has. A fine grain hides the steps between them.",
    "cmyk-guessed": "Some of the art was made for print. Its colours may look different on the radio.",
    "profile-followed": "The art's colours were fitted to those of a screen.",
    "black-is-grey": "Black in some of the art is a dark grey, and glows at night.",
    "motion-cropped": "The screen has another shape than the art: something that moves is cut off at its edge.",
    "words-cut-off": "The screen has another shape than the art: some words are cut off at its edge.",
    "handoff-seen": "Where the logo gives way to the animation, a small change can be seen.",
    "hold-jumps": "Before the last picture comes to rest, the picture jumps.",
    "parts-jump": "Between two parts of the animation the picture jumps.",
    "frames-gap": "A picture seems to be missing in the art, and the motion may jump there.",
    "jumpy": "The animation shows few pictures a second, and looks more like single pictures than like motion.",
    "clip-retimed": "The clip's speed was fitted to the radio's.",
    "fps-limited": "The animation is slower than drawn: this radio cannot show pictures faster.",
    "film-hdr": "The film was made for brighter screens. Its brightest places are darker here.",
    "film-interlaced": "The film was recorded in half pictures: fine lines may show in quick motion.",
    "sound-left-out": "The animation has no sound: radios on the dash do not play it.",
    "hold-added": "The last picture was made to stay until the radio is ready.",
    "panel-fitted": "The animation was made for another screen, and was fitted to this one.",
    "cut-mid-motion": "In some starts the home screen comes while the animation is still moving.",
    "turned-upright": "A photograph was turned upright.",
    "frames-doubled": "A picture that was there twice was left out once.",
}
"""What a reason means to a customer, by its code. Reasons that change nothing that is seen are the workshop's."""


def seen(radio: RadioRecord, proof: RadioProof | None = None) -> tuple[str, ...]:
    """Return a sentence for each thing that is seen, from the logo to the home screen.

    With `proof` it is known whether a picture that stands still is the one that the motion ends with.
    """
    told = ["The logo stands still."]
    several = sum(part.frames > 1 for part in radio.parts) > 1
    ready = False
    for number, part in enumerate(radio.parts):
        if not ready or part.type == "c":
            told.append(_part(part, radio.timeline, several, _is_same_picture(number, proof)))
        ready = ready or part.count == 0
    if not ready:
        told.append("The last picture stays until the radio is ready.")
    return (*told, _home(radio.timeline))


def _part(part: PartRecord, timeline: TimelineRecord, several: bool, same: bool) -> str:
    what = (
        f"the animation “{_short(part.art)}”" if several and part.frames > 1 and _short(part.art) else "the animation"
    )
    if part.count == 0:
        if part.frames == 1:
            return f"{'The last' if same else 'Then a still'} picture stays until the radio is ready."
        return f"Then {what} plays again and again until the radio is ready{_rest(part)}."
    length = _seconds(plays_s(part, timeline))
    if part.frames == 1:
        return f"{'The last' if same else 'Then a still'} picture stays for {length}."
    end = " It plays to its end even when the radio is ready before." if part.type == "c" else ""
    return f"Then {what} plays{_times(part.count)} for {length}{_rest(part)}.{end}"


def _is_same_picture(number: int, proof: RadioProof | None) -> bool:
    """Tell whether the part begins with the picture that the part before ends with."""
    order = proof.order if proof else ()
    return 0 < number < len(order) and bool(order[number]) and order[number][0] == order[number - 1][-1]


def _short(art: str) -> str:
    """Return what people call the art: its folder, or the file without its ending."""
    folder, _, file = art.replace("\\", "/").rpartition("/")
    name = folder.rpartition("/")[2] if folder else file.rpartition(".")[0] or file
    return "" if any(sign in name for sign in "*?[") else name


def _times(count: int) -> str:
    return "" if count == 1 else " twice," if count == 2 else f" {number(count)} times,"


def _rest(part: PartRecord) -> str:
    if part.pause_s < UNNOTICED_S:
        return ""
    return f", and rests for {_seconds(part.pause_s)}{' after each time' if part.count != 1 else ''}"


def _home(timeline: TimelineRecord) -> str:
    if timeline.delay_s <= UNNOTICED_S:
        return "Then the home screen appears."
    late = _seconds(timeline.delay_s)
    return f"Then the home screen appears, up to {late} later than without the animation."


def sure(timeline: TimelineRecord) -> tuple[str, ...]:
    """Return how the start-up times are known, and in how many starts the animation plays to its end."""
    times = len(timeline.boot_samples_s)
    shortest, longest = f"{timeline.boot_shortest_s:.0f}", _seconds(timeline.boot_longest_s, whole=True)
    if times:
        known = (
            f"We have timed the start of such a radio {number(times)} time{'s' * (times > 1)}: {shortest} to {longest}."
        )
    else:
        usual = _seconds(timeline.boot_usual_s, whole=True)
        known = f"We have not timed this radio's start. We count on {shortest} to {longest}, usually {usual}."
    if timeline.once_only_s <= 0:
        return known, "The home screen may come at any moment of the animation."
    if timeline.share_finished >= 1:
        return known, "The animation plays to its end in all of these starts."
    cut = "in the others the home screen comes while it is still moving"
    return known, f"The animation plays to its end in {share(timeline.share_finished)} of these starts; {cut}."


def flashes(flash: FlashRecord) -> str:
    """Return the flash check's result in a sentence."""
    most = max(flash.general_max_per_s, flash.red_max_per_s)
    if not flash.passes:
        return f"It flashes up to {number(most)} times within a second. The usual limit is {number(flash.most_per_s)}."
    if most == 0:
        return "We looked for flashing light and found none."
    often = "once" if most == 1 else f"{number(most)} times"
    return f"It flashes at most {often} within a second. The usual limit is {number(flash.most_per_s)}."


def art_changes(reasons: Iterable[Reason]) -> tuple[str, ...]:
    """Return what the reasons mean for the art, each thing once."""
    return tuple(dict.fromkeys(_told(reasons)))


def _told(reasons: Iterable[Reason]) -> Iterator[str]:
    for reason in reasons:
        if reason.code in _ART:
            yield _ART[reason.code]


def number(count: int) -> str:
    """Return a number as it is written in a sentence: words up to twelve, then figures."""
    return _NUMBERS[count] if 0 <= count < len(_NUMBERS) else f"{count:,}"


def _seconds(value: float, *, whole: bool = False) -> str:
    """Return "1 second", "2.5 seconds", "16 seconds": below 5 with one decimal where it is not whole."""
    rounded = round(value) if whole or value >= 5 else round(value, 1)
    return f"{rounded:g} second{'s' * (rounded != 1)}"
