"""What the tests of plans share."""

from __future__ import annotations

from collections.abc import Callable

from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Kind

HEAD = 'customer = "C"\nradio = "tiny"\n'
Planner = Callable[..., Plan]


def codes(found: Plan) -> dict[str, Kind]:
    return {r.code: r.kind for r in found.reasons}
