"""The catalogues hold what the code says."""

from __future__ import annotations

from keyturn.pages import catalogues


def test_the_template_is_up_to_date_with_the_code() -> None:
    """`python -m keyturn.pages.catalogues` writes it anew."""
    assert catalogues.TEMPLATE.read_bytes() == catalogues.as_text(catalogues.template())
