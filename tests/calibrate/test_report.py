"""What is said of the starts that were read."""

from __future__ import annotations

from pathlib import Path

from calibration_samples import ADDITIVE, DAY
from keyturn import calibrate
from keyturn.radio.timeline import Pacing
from keyturn.shop import rulebook


def test_the_report_tells_every_start_and_warns_of_a_single_one() -> None:
    told = "\n".join(calibrate.describe(calibrate.learn(ADDITIVE, 10, [17.9, 18.4], [22.6, 23.25])))
    assert "figure 17.9 (frame 179): home screen after 22.60 s" in told
    assert "126.3 ms" in told and "second --fps" in told and "One start" not in told
    assert "One start" in "\n".join(calibrate.describe(calibrate.learn(ADDITIVE, 10, [17.9], [22.6])))


def test_a_second_rate_that_contradicts_the_first_names_the_other_pacing(tmp_path: Path) -> None:
    """A player of fixed beat that needs 120 ms a frame misses 10 fps and keeps 5 fps."""
    true = {fps: Pacing(fps, "fixed-beat", 0.12).interval_s for fps in (5, 10)}
    at_10 = calibrate.learn(ADDITIVE, 10, [15.0, 15.2], [150 * true[10], 152 * true[10]])
    calibrate.store(tmp_path, ADDITIVE, at_10, on=DAY)
    radio = rulebook.load(tmp_path).radios[ADDITIVE.name]
    told = " ".join(calibrate.describe(calibrate.learn(radio, 5, [18.0], [90 * true[5]])))
    assert 'pacing is "fixed-beat"' in told
    agreed = calibrate.learn(radio, 5, [15.0], [75 * (0.2 + 0.02)])
    assert 'agrees with what was measured before: pacing "additive"' in " ".join(calibrate.describe(agreed))
