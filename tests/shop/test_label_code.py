"""The code on a stick's label is ASCII, names the revision, and is read back as it was."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.shop import label_code
from keyturn.shop.file_names import safe_name
from keyturn.shop.label_code import LabelCode

DIGEST = "3f9a0c1b22dd4e5f"


def test_a_code_says_revision_digest_and_vehicle() -> None:
    code = LabelCode("van-two-r2", DIGEST * 4, 3)
    assert code.text() == f"keyturn:van-two-r2:{DIGEST}:3"
    assert LabelCode("van-two-r2", DIGEST).text() == f"keyturn:van-two-r2:{DIGEST}"
    # RFC 3492, 7.1 (B): the Chinese sample
    assert LabelCode("他们为什么不说中文", DIGEST).text() == f"keyturn:xn--ihqwcrb4cv8a8dqg056pqjye:{DIGEST}"


@given(st.text(min_size=1, max_size=80), st.integers(1, 900_000_000), st.integers(0, 100))
def test_a_code_is_read_back_as_it_was(job: str, number: int, vehicle: int) -> None:
    code = LabelCode(f"{safe_name(job)}-r{number}", DIGEST, vehicle)
    assert code.text().isascii() and label_code.parsed(code.text()) == code
    assert label_code.parsed(f" {code.text().upper()}\n") == code, "a scanner that types may have capitals on"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "van-two",
        "keyturn:van-two-r2",
        f"keyturn:van two-r2:{DIGEST}",
        f"keyturn:../van-r2:{DIGEST}",
        f"keyturn:van-r2:{DIGEST[1:]}",
        f"keyturn:van-r2:{DIGEST}:0",
        f"keyturn:xn--99999999999:{DIGEST}",
        f"keyturn:xn--van-:{DIGEST}",
        f"see keyturn:van-r2:{DIGEST}",
    ],
)
def test_any_other_text_is_no_code(text: str) -> None:
    assert label_code.parsed(text) is None
