"""Keys of kept pieces: equal for the same objects, not for equal ones."""

from __future__ import annotations

from types import ModuleType

from keyturn.pages import board
from keyturn.pages.cache_key import SameObjects


def test_the_same_objects_make_the_same_key_whatever_holds_them() -> None:
    one, two = ["a"], ["b"]
    kept = {SameObjects((one, two), (one, two)): "kept"}
    assert kept[SameObjects([one, two], [one, two])] == "kept"


def test_equal_objects_others_or_fewer_make_another_key() -> None:
    one, two = ["a"], ["b"]
    key = SameObjects("", (one, two))
    for parts in ((["a"], two), (two, one), (one,), (one, two, one), ()):
        assert key != SameObjects("", parts)
    assert key != (one, two)


def test_the_boards_rows_are_made_anew_when_one_is_another(by_hand: ModuleType) -> None:
    state = by_hand.state()
    first = board.board(state)
    assert board.board(state) == first
    row = state.ready[0].model_copy(update={"job": "van-three"})
    assert "van-three, revision" not in first.replace("<bdi>", "").replace("</bdi>", "")
    changed = board.board(state.model_copy(update={"ready": (row,)}))
    assert "<bdi>van-three</bdi>, revision 2" in changed
