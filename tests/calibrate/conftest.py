"""What the tests of calibration share: the small radio of the test shop."""

from __future__ import annotations

import pytest

from keyturn.shop.radio_profile import Radio
from keyturn.shop.rulebook import Rulebook


@pytest.fixture
def tiny(rules: Rulebook) -> Radio:
    return rules.radios["tiny"]
