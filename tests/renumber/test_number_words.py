"""Numbers in words and in Roman figures. The words are those of each language's dictionaries."""

import random

import pytest

from keyturn.renumber.number_words import numbers_in_words

RUNS = [
    "one two three four five six seven eight nine ten eleven twelve",
    "null eins zwei drei vier fünf sechs sieben acht neun zehn elf zwölf",
    "één twee drie vier vijf zes zeven acht",
    "un deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize dix-sept dix-huit",
    "uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciséis",
    "uno due tre quattro cinque sei sette otto",
    "um dois três quatro cinco seis sete oito nove dez onze doze treze catorze quinze dezesseis",
    "I II III IV V VI VII VIII IX X XI XII XIII XIV XV XVI XVII XVIII XIX XX",
    "v vi vii viii ix",
]


@pytest.mark.parametrize("pattern", ["{}", "lamp {}", "{}-final", "Van_{}_fern", "the {} lamp"])
@pytest.mark.parametrize("run", RUNS)
def test_a_complete_run_in_any_order_is_numbers(run: str, pattern: str):
    words = run.split()
    start = {"null": 0, "v": 5}.get(words[0], 1)
    numbers = list(range(start, start + len(words)))
    mixed = random.Random(3).sample(list(zip(numbers, words, strict=True)), len(words))
    assert numbers_in_words([pattern.format(word) for _, word in mixed]) == tuple(number for number, _ in mixed)


def test_words_may_follow_others_without_a_blank_and_roman_figures_a_capital():
    assert numbers_in_words(["frameone", "frametwo", "framethree"]) == (1, 2, 3)
    assert numbers_in_words(["lampII", "lampI", "lampIII"]) == (2, 1, 3)


def test_roman_figures_up_to_ninety_nine():
    """The twelve figures of a clock's face and a few of Rome's: 40 is XL, 90 is XC, 99 is XCIX (dictionaries)."""
    known = {"xxxix": 39, "xl": 40, "xli": 41}
    assert numbers_in_words(list(known)) == tuple(known.values())
    assert numbers_in_words(["xcviii", "xcix"]) == (98, 99)


@pytest.mark.parametrize(
    "stems",
    [
        ["one", "two", "four"],
        ["one", "one"],
        ["one", "zwei"],
        ["fern", "ivy"],
        ["mix", "mi"],
        ["civil", "vivid"],
        ["one"],
        [],
        ["", ""],
        ["iiii", "iii"],
    ],
)
def test_anything_less_is_no_run(stems: list[str]):
    assert numbers_in_words(stems) is None


def test_long_names_of_many_pictures_cost_little():
    """Tried with all cuts of all names, these would be a hundred million."""
    assert numbers_in_words([f"{'the vans of the library ' * 8}{word}{' by night' * 10}" for word in RUNS[0].split()])
    assert numbers_in_words([f"{'van ' * 50}{'abc'[n % 3] * n}{' lamp' * 20}" for n in range(1, 2000)]) is None
