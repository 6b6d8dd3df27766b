"""Keys for words: what artists may write, in short and in full, and what is wrong with the rest."""

from __future__ import annotations

import pytest

from keyturn.manifest import reading
from keyturn.manifest.drawn_frames import Sprite
from keyturn.manifest.lettering import LogoText, Outline, Shadow
from keyturn.shop.reasons import Refused

HEAD = 'customer = "C"\nradio = "tiny"\n'
GLIDE = "[[part]]\n[part.glide]\nframes = 9\npath = [[0.5, 0.5]]\n"


def sprites(lines: str) -> tuple[Sprite, ...]:
    glide = reading.parse((HEAD + GLIDE + lines).encode()).part[0].glide
    assert glide
    return glide.sprites


def logo(lines: str) -> tuple[LogoText, ...]:
    return reading.parse((HEAD + lines).encode()).logo.text


def test_an_outline_and_a_shadow_may_be_a_colour_alone() -> None:
    (sprite,) = sprites('text = "Fern"\noutline = "#112233"\nshadow = "navy"\n')
    assert sprite.outline == Outline(colour="#112233") and sprite.shadow == Shadow(colour="#000080")
    (sprite,) = sprites('text = "Fern"\noutline = { colour = "#fff", width = 0.1 }\nshadow = { offset = [0, 0.1] }\n')
    assert sprite.outline == Outline(colour="#ffffff", width=0.1) and sprite.shadow == Shadow(offset=(0, 0.1))


def test_how_words_look_in_the_glide_holds_for_each_sprite_that_does_not_say_otherwise() -> None:
    shared = 'font = "brand.ttf"\nweight = 700\noutline = "#000000"\n'
    first, second = sprites(
        shared
        + '[[part.glide.sprite]]\ntext = "A"\n[[part.glide.sprite]]\ntext = "B"\nfont = "other.otf"\nweight = 300\n'
    )
    assert (first.font, first.weight, second.font, second.weight) == ("brand.ttf", 700, "other.otf", 300)
    assert first.outline == second.outline == Outline()


def test_text_may_have_several_lines() -> None:
    (sprite,) = sprites('text = """\nFern Hollow \n  Mobile Library\n"""\n')
    assert sprite.text == "Fern Hollow\nMobile Library"


def test_words_of_old_are_told_from_those_that_say_how_they_look() -> None:
    (plain,) = sprites('text = "Fern"\ncolour = "#ff0000"\nsize = 0.2\n')
    assert plain.of_old
    for line in ('font = "a.ttf"', "weight = 400", 'outline = "#000000"', 'align = "left"', "wrap = 0.5", "fit = 0.9"):
        (sprite,) = sprites(f'text = "Fern"\n{line}\n')
        assert not sprite.of_old, line


@pytest.mark.parametrize("written", ["center", "Centre", "middle"])
def test_the_middle_is_called_by_several_names(written: str) -> None:
    (sprite,) = sprites(f'text = "Fern"\nalign = "{written}"\n')
    assert sprite.align == "centre"


def test_words_on_the_logo_are_one_text_or_a_table_each() -> None:
    (short,) = logo('[logo]\ntext = "Fern Hollow"\n')
    assert (short.text, short.place, short.size) == ("Fern Hollow", (0.5, 0.5), 0.1)
    first, second = logo(
        '[[logo.text]]\ntext = "A"\nplace = [0.5, 0,8]\n[[logo.text]]\ntext = "B"\nsize = 0.2\nturn = 5\n'
    )
    assert (first.place, second.size, second.turn) == ((0.5, 0.8), 0.2, 5)


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        (GLIDE + 'text = "A"\nweight = 0\n', "part.1.glide.weight", "at least 1"),
        (GLIDE + 'text = "A"\nfit = 1.5\n', "part.1.glide.fit", "at most 1"),
        (GLIDE + 'text = "A"\nfont = "../brand.ttf"\n', "part.1.glide.font", "inside the drop"),
        (GLIDE + 'text = "A"\nalign = "justify"\n', "part.1.glide.align", "none of the words"),
        (GLIDE + 'text = "A"\noutline = { wdth = 0.1 }\n', "part.1.glide.outline.wdth", "no key"),
        (GLIDE + 'text = "  "\n', "part.1.glide.text", "must not be empty"),
        (GLIDE + f'text = "{"A" * 201}"\n', "part.1.glide.text", "longer than 200"),
        (GLIDE + 'text = "' + "A\\n" * 12 + 'B"\n', "part.1.glide.text", "more than 12 lines"),
        (GLIDE + 'text = "A\\tB"\n', "part.1.glide.text", "plain text"),
        ("[[logo.text]]\nplace = [0, 0]\n", "logo.text.1.text", "is missing"),
        ('[logo.text]\ntext = "A"\n', "logo.text", "one pair of brackets"),
        ('[[logo.text]]\ntext = "A"\nplce = [0, 0]\n', "logo.text.1.plce", "no key"),
    ],
)
def test_what_is_not_understood_is_told_in_the_artist_s_words(text: str, field: str, words: str) -> None:
    with pytest.raises(Refused) as caught:
        reading.parse((HEAD + text).encode())
    (reason,) = caught.value.reasons
    assert reason.field == field and words in reason.what and reason.mend
