"""The names of the files on a radio's stick, and what is wrong with them."""

from __future__ import annotations

from keyturn.shop.file_names import case_twins, fat_faults
from keyturn.shop.name_rules import Fat
from keyturn.shop.radio_profile import Radio

INSTALL = "INSTALL.txt"


def stick_files(radio: Radio) -> tuple[str, ...]:
    """Return the paths on the stick: animation, logo, and INSTALL.txt where the radio minds no other file."""
    return (radio.stick.animation, radio.stick.logo, *((INSTALL,) if radio.stick.extra_files else ()))


def stick_faults(radio: Radio, fat: Fat) -> list[str]:
    """Return why a stick cannot hold the files that the radio's profile names; nothing where it can."""
    names = stick_files(radio)
    faults = [f"{name} {fault}" for name in dict.fromkeys(names) for fault in fat_faults(name, fat)]
    faults += [f"{' and '.join(twins)} differ only in capitals" for twins in case_twins(names)]
    steps = {name: name.split("/") for name in names}
    faults += [
        f"{name} is a file and a folder"
        for name in steps
        if any(other[: len(steps[name])] == steps[name] for other in steps.values() if other != steps[name])
    ]
    return faults if len(set(names)) == len(names) else [*faults, "two files have one name"]
