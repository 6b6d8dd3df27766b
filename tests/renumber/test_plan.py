"""The plan for one radio: rows, rate, thinning, and what stands against it."""

from __future__ import annotations

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.radio import desc
from keyturn.renumber.parts import job_art
from keyturn.renumber.plan import plan
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind
from keyturn.shop.rulebook import Rulebook
from renumber.planning import HEAD, Planner, codes
from samples import Drop, with_player


def test_once_then_a_hold_comes_out_as_count_1_and_count_0(planned: Planner) -> None:
    """COUNT 1 and COUNT 0 under the panel's size and fps (FORMAT of the reference player, AOSP cmds/bootanimation;
    the once-then-hold shape is common practice, no source)."""
    made = planned("[motion]\nfps = 12\n")
    assert desc.write(made.desc) == b"48 64 12\np 1 0 part0\np 0 0 part1\n"


def test_a_pause_that_the_radio_cannot_hold_exactly_is_told(planned: Planner, radio: Radio) -> None:
    in_seconds = radio.firmware.model_copy(update={"pause_unit": "seconds"})
    made = planned('[motion]\nfps = 12\n[[part]]\nart = "lamps/*"\npause = 1.4\n', firmware=in_seconds)
    assert codes(made)["pause-rounded"] is Kind.MENDED


def test_counts_above_ten_are_not_trusted(planned: Planner) -> None:
    """Common practice, no source."""
    text = '[motion]\nfps = 30\n[[part]]\nart = "lamps/*"\nplays = {}\n'
    assert "plays-not-trusted" not in codes(planned(text.format(10)))
    assert codes(planned(text.format(11), frames=5))["plays-not-trusted"] is Kind.REFUSE


def test_a_part_that_holds_the_screen_needs_a_radio_that_has_such_parts(planned: Planner, radio: Radio) -> None:
    text = '[[part]]\nart = "lamps/*"\nhold_screen = "the ferry timetable must be read out"\n'
    assert codes(planned(text))["hold-not-possible"] is Kind.REFUSE
    made = planned(text, player=with_player(radio, part_types=["p", "c"]).player)
    assert made.parts[0].row.type == "c"


def test_small_art_is_told_soft_and_far_too_small_refused(drop: Drop, rules: Rulebook, radio: Radio) -> None:
    def code_of(size: tuple[int, int], name: str) -> dict[str, Kind]:
        root = drop(name, manifest=HEAD, size=size)
        job = reading.read(root)
        art = job_art(job, survey(root, rules.intake), rules.intake)
        return codes(plan(job, art, root, radio, rules.intake))

    assert "art-soft" not in code_of((24, 32), "half")
    assert code_of((16, 22), "third")["art-soft"] is Kind.NOTE
    assert code_of((5, 7), "tenth")["art-too-small"] is Kind.REFUSE
