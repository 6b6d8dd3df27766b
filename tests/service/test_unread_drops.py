"""A drop that was not made is refused with its customer, as far as its manifest says."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.service.unread_drops import our_bug, unread
from keyturn.shop.rulebook import Rulebook


@pytest.mark.parametrize(
    ("text", "customer"),
    [
        ('customer = "Ada"\nradio = "tiny"\n', "Ada"),
        ("customer = ", None),
        ('each = "fleet.csv"\ncustomer = "{owner}"\n', None),
    ],
)
def test_the_customer_is_told_where_the_manifest_names_one(
    tmp_path: Path, rules: Rulebook, text: str, customer: str | None
) -> None:
    (tmp_path / "van").mkdir()
    (tmp_path / "van" / "job.toml").write_text(text)
    refused = unread(tmp_path / "van", tmp_path, rules, our_bug())
    assert (refused.customer, refused.root) == (customer, tmp_path / "van")
    assert [reason.code for reason in refused.reasons] == ["keyturn-bug"]


def test_a_broken_zip_has_no_customer(tmp_path: Path, rules: Rulebook) -> None:
    (tmp_path / "drop").mkdir()
    (tmp_path / "drop" / "van.zip").write_bytes(b"PK\3\4 and no more")
    refused = unread(tmp_path / "drop", tmp_path, rules, our_bug())
    assert refused.customer is None and refused.root is None
