"""What a command raises where one of its arguments is wrong."""

from __future__ import annotations


class WrongUse(Exception):  # noqa: N818 - named like the other outcomes, Refused and ShopFault
    """An argument of a command is wrong: `what` is wrong with it, and `mend` says what to give instead.

    A fault of the machine is a `ShopFault`: the same command may succeed later. This one never does.
    """

    def __init__(self, what: str, mend: str = "") -> None:
        self.what, self.mend = what, mend
        super().__init__(f"{what} -> {mend}" if mend else what)
