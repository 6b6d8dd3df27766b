"""Limits of memory, zip and logo: at the limit all is well, beyond it there is a refusal with a remedy."""

from __future__ import annotations

import pytest

from judge.plans import TALL, plan_of, with_limits
from keyturn.judge.sizes import logo_reasons, memory_reasons, memory_record, zip_reasons
from keyturn.radio.memory import Texture
from keyturn.shop.reasons import Kind

LOOP = plan_of(("p", 1, 0, 40), ("p", 0, 0, 48))


def test_memory_is_that_of_the_loop() -> None:
    # AOSP 4.0: 768 x 1024 becomes 1024 x 1024, two bytes a pixel where it is opaque: 48 frames and the one texture of
    # the part that plays once take 98 MiB
    record = memory_record(LOOP, {})
    assert (record.peak_mib, record.allowed_mib) == (98, 256)
    assert memory_reasons(LOOP, {}) == []


def test_memory_beyond_the_limit_is_refused_and_cropped_frames_need_less() -> None:
    small = plan_of(("p", 1, 0, 40), ("p", 0, 0, 48), radio=with_limits(TALL, texture_mib=90))
    (reason,) = memory_reasons(small, {})
    assert (reason.code, reason.kind) == ("memory-exceeded", Kind.REFUSE)
    cropped = {1: [Texture(512, 512)] * 48}  # half a MiB each, and 2 MiB for the part that plays once
    assert memory_reasons(small, cropped) == []
    assert memory_record(small, cropped).peak_mib == 26


@pytest.mark.parametrize(("over", "told"), [(0, False), (1, True)])
def test_the_zip_may_be_as_large_as_the_limit(over: int, told: bool) -> None:
    reasons = zip_reasons(LOOP, 60 * 2**20 + over, 70)
    assert [reason.code for reason in reasons] == ["zip-too-large"] * told


def test_the_zip_s_remedy_names_how_many_frames_fit_where_some_do() -> None:
    (some,) = zip_reasons(LOOP, 90 * 2**20, 70)
    (none,) = zip_reasons(LOOP, 90 * 2**20, 0)
    assert some.kind is none.kind is Kind.REFUSE
    assert "about 70 of its 88 frames fit" in some.mend and "thin = true" in some.mend
    assert "frames fit" not in none.mend and none.mend


@pytest.mark.parametrize(("over", "told"), [(0, False), (1, True)])
def test_the_logo_may_be_as_large_as_the_limit(over: int, told: bool) -> None:
    reasons = logo_reasons(LOOP, 4096 * 1024 + over)
    assert [(reason.code, reason.kind) for reason in reasons] == [("logo-too-large", Kind.REFUSE)] * told
