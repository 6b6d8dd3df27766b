"""What can be wrong with a picture before or while it is read, in the artist's words. The reasons name no file."""

from __future__ import annotations

from keyturn.shop.reasons import Reason, Refused, refuse

_AGAIN = "export it again, or copy it again if it was cut short"


class Broken(Exception):  # noqa: N818 - it describes the file, not an error of ours
    """The file breaks off or contradicts itself. The text completes the sentence "it ..."."""


def too_large(mpx: float, most: float) -> Reason:
    """Return the refusal of a picture of `mpx` megapixels; 0 where its size is not known."""
    what = f"has {mpx:,.1f} megapixels" if mpx else "needs more memory than a picture may"
    mend = f"make it smaller: at most {most:g} megapixels, and a panel shows about one"
    return refuse("picture-too-large", what, mend)


def broken(how: str = "cannot be read to its end") -> Reason:
    return refuse("picture-broken", f"is damaged: it {how}", _AGAIN)


def not_taken(kind: str, taken: tuple[str, ...]) -> Reason:
    mend = f"export it as PNG; taken are {', '.join(taken)}"
    return refuse("picture-kind", f"is {kind}, which is not taken here", mend)


def too_long(most: int, *, cut: str = "") -> Reason:
    """Return the refusal of a clip of more than `most` frames; `cut` adds to the mend."""
    return refuse("clip-too-long", f"has more than {most} frames", "make it shorter or thin it out" + cut)


def not_installed(kind: str, extra: str, instead: str) -> Refused:
    """Return the refusal of a `kind` whose library is missing; `extra` is the package's extra that brings it."""
    what = f"is {kind}; this shop has not installed what reads it"
    mend = f'the shop installs "keyturn[{extra}]", or export {instead}'
    return Refused([refuse("picture-kind", what, mend)])
