"""Pictures exported at several sizes at once."""

from keyturn.normalize.scale_marks import largest, unscaled


def test_of_each_picture_the_largest_is_kept():
    names = ["a/1.png", "a/1@2x.png", "a/1@3x.PNG", "a/2.png", "b/1.png", "a/1@2x.jpg"]
    assert largest(names) == (["a/1@3x.PNG", "a/2.png", "b/1.png", "a/1@2x.jpg"], ["a/1.png", "a/1@2x.png"])
    assert largest([]) == ([], [])


def test_only_a_mark_at_the_end_is_one():
    assert unscaled("x/logo@2x.png") == "x/logo.png"
    assert unscaled("x@2x/a@2x b.png") == "x@2x/a@2x b.png"
