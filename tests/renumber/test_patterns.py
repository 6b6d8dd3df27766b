"""Which files a name or pattern of the manifest means."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.renumber.patterns import is_art, matching, of_folder, one_file, what_looks_like, where_pictures_lie

FILES = ("Lamps/0001.png", "Lamps/0002.png", "Lamps/deep/0003.png", "logo.png", "notes.txt")


@pytest.mark.parametrize("pattern", ["Lamps/*.png", "*.png", "Lamps/*", "*/000[12].png", "logo.???", "none/*"])
def test_a_pattern_matches_what_glob_finds_on_disk(tmp_path: Path, pattern: str) -> None:
    """Python's own glob on real files is the independent reader: a star does not cross a folder."""
    for name in FILES:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    on_disk = {p.relative_to(tmp_path).as_posix() for p in tmp_path.glob(pattern) if p.is_file()}
    assert set(matching(pattern, FILES)[0]) == on_disk


def test_a_name_with_brackets_means_itself_too() -> None:
    assert matching("step [1].png", ["step [1].png"]) == (("step [1].png",), [])


def test_capitals_are_forgiven_only_where_nothing_fits_exactly() -> None:
    assert matching("LOGO.png", ["logo.png", "LOGO.png"]) == (("LOGO.png",), [])
    names, (reason,) = matching("LAMPS/*.png", FILES)
    assert names == FILES[:2] and reason.code == "capitals-differ"


@pytest.mark.parametrize(("wanted", "told"), [("Lamps/*.png", "names 2 files"), ("gone.png", "is not in the drop")])
def test_one_file_refuses_none_and_several(wanted: str, told: str) -> None:
    name, (reason,) = one_file(wanted, FILES, "logo-missing", "name one", "logo.art")
    assert name is None and told in reason.what
    assert (reason.code, reason.field, reason.mend) == ("logo-missing", "logo.art", "name one")
    assert one_file("logo.png", FILES, "logo-missing", "name one", "logo.art") == ("logo.png", [])


def test_the_remedy_names_six_folders_at_most() -> None:
    assert where_pictures_lie(FILES) == "the pictures of this drop lie in: *, Lamps/*, Lamps/deep/*"
    assert where_pictures_lie([]) == "add the pictures"
    assert where_pictures_lie([f"{n}/a.png" for n in range(9)]).count("/*") == 6


@pytest.mark.parametrize(("name", "art"), [("a/B.PNG", True), ("film.mp4", True), ("notes.txt", False), ("png", False)])
def test_the_ending_tells_art(name: str, art: bool) -> None:
    assert is_art(name) is art


def test_the_name_of_a_folder_gives_the_pattern_of_its_pictures() -> None:
    files = ["1.png", "lamps/1.png", "B/1.png", "b/1.png", "x/y/1.png"]
    wanted = {"lamps": "lamps/*", "LAMPS/": "lamps/*", "x/y": "x/y/*", "B": "B/*", "x": None, "lamps/*": None, "": None}
    assert {name: of_folder(name, files) for name in wanted} == wanted


def test_other_kinds_of_spaces_make_no_difference_where_nothing_else_matches() -> None:
    """An editor types no-break spaces; a Mac writes them into the names of screenshots (common practice, no source)."""
    for file, wanted in (("boot scene.png", "boot\xa0scene.png"), ("shot 9\u202fAM.png", "shot 9 AM.png")):
        names, (reason,) = matching(wanted, ["a.png", file])
        assert (names, reason.kind) == ((file,), "mended")
    assert matching("a\xa0b.png", ["a b.png", "a\xa0b.png"]) == (("a\xa0b.png",), [])
    assert of_folder("Two\xa0Vans", ["two vans/1.png"]) == "two vans/*"


def test_accents_match_however_they_are_written(tmp_path: Path) -> None:
    """Unicode, annex 15: a Mac's disks hold names decomposed (NFD), keyboards type them composed (NFC)."""
    on_disk, typed = "Cafe\u0301/1.png", "Caf\u00e9/*.png"
    assert matching(typed, [on_disk]) == ((on_disk,), [])
    assert of_folder("Caf\u00e9", [on_disk]) == "Cafe\u0301/*"
    assert one_file("Caf\u00e9/1.png", [on_disk], "c", "m", "f") == (on_disk, [])


def test_what_looks_alike_and_differs_is_told_apart() -> None:
    files = ["l\u0430mps/1.png", "logo.png"]  # the second letter is Cyrillic
    assert "cyrillic small letter a" in what_looks_like("lamps/*.png", files)
    _, (reason,) = one_file("lamps/1.png", files, "c", "m", "f")
    assert "latin small letter a" in reason.what
    _, (reason,) = matching("boot\xa0scene.png", ["boot scene.png"])
    assert "no-break space" in reason.what
    assert what_looks_like("vans/*.png", files) == ""


def test_one_of_two_names_that_differ_in_composition_is_the_one_that_was_typed() -> None:
    both = ["Cafe\u0301.png", "Caf\u00e9.png"]
    assert [one_file(name, both, "c", "m", "f")[0] for name in both] == both
