"""What can be wrong with a picture before or while it is read, in the artist's words."""

from __future__ import annotations

from keyturn.shop.reasons import Reason, Refused, refuse

_AGAIN = "export it again, or copy it again if it was cut short"


def too_large(mpx: float, most: float, name: str) -> Reason:
    what = f"has {mpx:,.1f} megapixels" if mpx else "needs more memory than a picture may"
    mend = f"make it smaller: at most {most:g} megapixels, and a panel shows about one"
    return refuse("picture-too-large", what, mend, file=name)


def broken(name: str, how: str = "cannot be read to its end") -> Reason:
    return refuse("picture-broken", f"is damaged: it {how}", _AGAIN, file=name)


def not_taken(kind: str, taken: tuple[str, ...], name: str) -> Reason:
    mend = f"export it as PNG; taken are {', '.join(taken)}"
    return refuse("picture-kind", f"is {kind}, which is not taken here", mend, file=name)


def too_long(most: int, name: str, *, cut: str = "") -> Reason:
    mend = "make it shorter or thin it out" + cut
    return refuse("clip-too-long", f"has more than {most} frames", mend, file=name)


def not_installed(kind: str, extra: str, instead: str, name: str) -> Refused:
    what = f"is {kind}; this shop has not installed what reads it"
    mend = f'the shop installs "keyturn[{extra}]", or export {instead}'
    return Refused([refuse("picture-kind", what, mend, file=name)])
