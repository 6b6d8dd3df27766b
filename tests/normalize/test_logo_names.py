"""Which names mean a boot logo. What people call it is common practice, no source."""

import pytest

from keyturn.normalize.logo_names import is_logo, may_be_logos, says_logo


def test_a_loose_picture_called_logo_is_the_logo():
    assert [is_logo(name) for name in ("Logo.PNG", "logo.psd", "lamps/logo.png", "1.png")] == [True, True, False, False]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        *[(n, True) for n in ("logo", "boot logo", "logo_final", "Logo_768x1024", "LOGO2", "VanLogo", "bootlogo")],
        *[(n, False) for n in ("catalogo", "logotherapy", "lamp", "analog o", "épilogo")],
    ],
)
def test_the_word_logo_is_found_between_letters_of_other_words(name: str, says: bool):
    assert says_logo(name) is says


def test_rows_of_frames_are_no_logos_and_a_folder_may_say_it():
    row = [f"logo_{n:04d}.png" for n in range(1, 5)]
    assert may_be_logos([*row, "logo_final.png"]) == ["logo_final.png"]
    assert may_be_logos(["Logo/art.png", "lamps/1.png"]) == ["Logo/art.png"]
    assert may_be_logos(["logo/a.png", "logo/b.png", "a/boot logo.png"]) == ["a/boot logo.png"]
