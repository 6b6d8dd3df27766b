"""The third stage: in which order a part's pictures play, and what is wrong with their numbers. Pure: no disk.

The radio plays frames in byte order of their names, so that frame2 comes after frame10 (AOSP,
cmds/bootanimation). People number as they please; here the order they meant is found, and the frames
get zero-padded names of their own.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from keyturn.renumber.frame_names import PictureName, parsed, without_marks
from keyturn.renumber.number_words import numbers_in_words
from keyturn.shop.reasons import Exhibit, Kind, Reason, mended, note, only, refuse

Same = Callable[[str, str], bool]
"""Are the contents of these two files equal?"""

SHOWN = 8
"""So many findings of one sort are told one by one; the rest are counted."""

PICTURES_SHOWN = 4
"""So many pictures with one number are shown side by side."""


@dataclass(frozen=True, slots=True)
class Order:
    """The names as given, in playing order, without mended doubles, and what was found.

    Where a reason refuses, the order is the best guess.
    """

    names: tuple[str, ...]
    reasons: tuple[Reason, ...]


def frame_name(index: int, total: int, suffix: str) -> str:
    """Name of frame `index` (from 0) of `total`: "0001.png" first, as many digits as `total` needs, at least four."""
    if not 0 <= index < total:
        raise ValueError(f"frame {index} of {total}")
    return f"{index + 1:0{max(4, len(str(total)))}d}{suffix}"


def part_name(index: int) -> str:
    """Folder of part `index` (from 0): "part0". desc.txt names the parts in playing order, so none is padded."""
    return f"part{index}"


def order(names: Sequence[str], *, part: str, same: Same | None = None) -> Order:
    """Playing order of the pictures `names` (relative `/`-paths) of the part called `part`.

    Order is by the number in each name: the group of digits, of any script, that varies most across the set.
    Reasons: `frames-doubled` refuses two pictures with one number, or mends it where `same` finds their
    contents equal; `frame-unnumbered` refuses a picture without a number among numbered ones;
    `frames-unclear` refuses where two numbers change and disagree; `frames-padded` mends; `frames-gap`,
    `frames-mixed-prefix` and `frames-unnumbered` are notes. Where no name has a number, words and Roman figures that
    make a complete run are taken as numbers: `frames-in-words` mends. A name may be given twice; it counts once.
    """
    pictures = [parsed(name) for name in sorted(set(names), key=lambda n: (n.casefold(), n))]
    pictures = without_marks(pictures)
    numbered = _numbered([p for p in pictures if p.groups])
    plain = [p.name for p in pictures if not p.groups]
    if not numbered:
        return _without_figures(pictures, part)
    frames = sorted(numbered, key=lambda f: (f.number, f.marked, f.name.casefold(), f.name))
    kept, doubles = _doubles(frames, part, same)
    reasons = [*_unnumbered(plain, part), *doubles]
    if not only(reasons, Kind.REFUSE):
        reasons += _unclear(kept, part) or [*_mixed(kept, part), *_gaps(kept, part), *_padded(kept, part)]
    return Order(tuple(f.name for f in kept) + tuple(plain), tuple(reasons))


# -- which number -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Frame:
    """A picture with its number. `prefix` stands before the number, `texts` and `every` number make the whole name."""

    name: str
    number: int
    digits: str
    prefix: str
    texts: tuple[str, ...]
    every: tuple[int, ...]
    marked: bool


def _numbered(pictures: list[PictureName]) -> list[_Frame]:
    """Names with as many digit groups are compared with each other; the few take after the many."""
    sets: dict[int, list[PictureName]] = defaultdict(list)
    for picture in pictures:
        sets[len(picture.groups)].append(picture)
    frames: list[_Frame] = []
    usual: str | None = None
    for _, alike in sorted(sets.items(), key=lambda item: (-len(item[1]), item[0])):
        column = _column(alike, usual)
        if usual is None:
            usual = Counter(p.texts[column] for p in alike).most_common(1)[0][0]
        frames += [_frame(picture, column) for picture in alike]
    return frames


def _column(alike: list[PictureName], usual: str | None) -> int:
    """The digit group with the most different values; among equals the densest run, then the last.

    The few take the group that follows the text which usually stands before the number, where they have it.
    """
    columns = [[int(p.groups[i]) for p in alike] for i in range(len(alike[0].groups))]
    after_usual = [any(p.texts[i] == usual for p in alike) for i in range(len(columns))]
    return max(
        range(len(columns)),
        key=lambda i: (after_usual[i], len(set(columns[i])), min(columns[i]) - max(columns[i]), i),
    )


def _frame(picture: PictureName, column: int) -> _Frame:
    digits = picture.groups[column]
    prefix = f"{picture.folder}/".lstrip("/") + "#".join(picture.texts[: column + 1])
    texts = (picture.folder.casefold(), *picture.texts)
    every = tuple(map(int, picture.groups))
    return _Frame(picture.name, int(digits), digits, prefix, texts, every, picture.marked)


# -- what is wrong ----------------------------------------------------------------------------------


def _without_figures(pictures: list[PictureName], part: str) -> Order:
    """Return the order of names without digits: by number words where they make a run, else by name."""
    names = tuple(picture.name for picture in pictures)
    if len(names) < 2:
        return Order(names, ())
    one_folder = len({picture.folder for picture in pictures}) == 1
    if numbers := numbers_in_words([picture.stem for picture in pictures]) if one_folder else None:
        names = tuple(name for _, name in sorted(zip(numbers, names, strict=True)))
        what = f"the words in the names of {part} were taken as numbers: {_leaves(names)}"
        return Order(names, (mended("frames-in-words", what, file=names[0]),))
    what = f"the pictures of {part} have no numbers and play in the order of their names: {_leaves(names)}"
    return Order(names, (note("frames-unnumbered", what, "number them if they should play otherwise", file=names[0]),))


def _leaves(names: Sequence[str]) -> str:
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return ", ".join(name.rpartition("/")[2] for name in names[:SHOWN]) + more


def _unnumbered(plain: list[str], part: str) -> list[Reason]:
    mend = f"give it its number, or take it out of {part}"
    found = [
        refuse("frame-unnumbered", "has no number, the other pictures of its part have one", mend, file=name)
        for name in plain[:SHOWN]
    ]
    if len(plain) > SHOWN:
        what = f"{len(plain) - SHOWN} more pictures of {part} have no number"
        found.append(refuse("frame-unnumbered", what, mend, file=plain[SHOWN]))
    return found


def _doubles(frames: list[_Frame], part: str, same: Same | None) -> tuple[list[_Frame], list[Reason]]:
    """The frames without twins that are equal, and a reason for every number that is there twice."""
    by_number: dict[int, list[_Frame]] = defaultdict(list)
    for frame in frames:
        by_number[frame.number].append(frame)
    kept: list[_Frame] = []
    mends: list[Reason] = []
    refusals: list[Reason] = []
    for number, alike in by_number.items():
        first, *rest = alike
        differing = [twin for twin in rest if not _is_twin(first, twin, same)]
        kept += [first, *differing]
        if differing:
            refusals.append(_doubled(number, [first, *differing]))
        mends += [_dropped(first, twin) for twin in rest if twin not in differing]
    return kept, [*_shortened(refusals, by_number, part), *mends]


def _is_twin(first: _Frame, twin: _Frame, same: Same | None) -> bool:
    """Another picture's number is no copy, whatever it shows: "scene_03" is not a twin of "lamp_03"."""
    return same is not None and first.texts == twin.texts and same(first.name, twin.name)


def _doubled(number: int, alike: list[_Frame]) -> Reason:
    others = ", ".join(frame.name for frame in alike[:-1])
    mend = "keep the right one, or give one of them another number or a [[part]] of its own"
    shown = tuple(Exhibit(name=frame.name) for frame in alike[:PICTURES_SHOWN])
    what = f"has the number {number}, as has {others}"
    return refuse("frames-doubled", what, mend, file=alike[-1].name, exhibits=shown)


def _dropped(first: _Frame, twin: _Frame) -> Reason:
    return mended("frames-doubled", f"is the same picture as {first.name} and was left out", file=twin.name)


def _shortened(refusals: list[Reason], by_number: Mapping[int, list[_Frame]], part: str) -> list[Reason]:
    if len(refusals) <= SHOWN:
        return refusals
    doubled = [number for number, alike in by_number.items() if len(alike) > 1]
    what = f"{len(refusals)} numbers of {part} are there twice or more, from {doubled[0]} to {doubled[-1]}"
    return [*refusals[:SHOWN], refusals[SHOWN].model_copy(update={"what": what})]


def _unclear(frames: list[_Frame], part: str) -> list[Reason]:
    """Refuse names with two numbers that change, where each gives another order and the one chosen leaves gaps."""
    dense = frames[-1].number - frames[0].number == len(frames) - 1
    alike = len({frame.texts for frame in frames}) == 1
    if dense or not alike or all(a.every <= b.every for a, b in pairwise(frames)):
        return []
    what = f"two numbers change in the names of {part}, and each gives another order"
    return [refuse("frames-unclear", what, "rename them so that only one number changes", file=frames[0].name)]


def _mixed(frames: list[_Frame], part: str) -> list[Reason]:
    prefixes = list(dict.fromkeys(frame.prefix for frame in frames))
    if len(prefixes) < 2:
        return []
    shown = ", ".join(f'"{prefix}"' for prefix in prefixes[:4]) + (" and others" if len(prefixes) > 4 else "")
    what = f"the names of {part} begin differently ({shown}); they play in the order of their numbers"
    return [note("frames-mixed-prefix", what, "give them to two parts if they are two", file=frames[0].name)]


def _gaps(frames: list[_Frame], part: str) -> list[Reason]:
    gaps = [(a.number + 1, b.number - 1) for a, b in pairwise(frames) if b.number > a.number + 1]
    if not gaps:
        return []
    missing = sum(last - first + 1 for first, last in gaps)
    shown = ", ".join(f"{a}" if a == b else f"{a}-{b}" for a, b in gaps[:SHOWN])
    shown += f" and {len(gaps) - SHOWN} more gaps" if len(gaps) > SHOWN else ""
    what = f"{part} has no picture with the number {shown} ({missing} missing); it plays on without"
    return [note("frames-gap", what, "add them if they were forgotten", file=frames[0].name)]


def _padded(frames: list[_Frame], part: str) -> list[Reason]:
    widest = max(len(frame.digits) for frame in frames)
    if all(len(frame.digits) == widest for frame in frames):
        return []
    what = f"the numbers of {part} have no leading zeros; they were read as numbers, and the frames are padded"
    return [mended("frames-padded", what, file=frames[0].name)]
