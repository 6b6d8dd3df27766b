"""A job's place on its sheet has an HTML id, whatever the job is called."""

from __future__ import annotations

import re

import pytest

from keyturn.pages.job_anchor import job_anchor


@pytest.mark.parametrize("job", ["van two", "", "<b>", "\u05e9\u05dc\u05d5\u05dd", "half a letter \ud83d"])
def test_the_anchor_needs_no_escaping_in_a_page_or_an_address(job: str) -> None:
    """RFC 3986, 2.3: letters and digits are unreserved."""
    assert re.fullmatch(r"[a-z][a-z0-9]+", job_anchor(job))


def test_each_job_has_its_own() -> None:
    assert job_anchor("van two") == job_anchor("van two") != job_anchor("van-two")
