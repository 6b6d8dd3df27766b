"""What a power cut may leave: every name that counts is preceded and followed by the fsyncs it needs."""

from __future__ import annotations

from pathlib import Path

import pytest

from faults.order import TRACED, Reader
from faults.running import Zygote
from faults.scenarios import SCENARIOS, laid

pytestmark = pytest.mark.system


@pytest.mark.parametrize("name", ["drops", "mended", "changed"])
def test_what_a_name_leads_to_is_on_disk_before_it_and_the_name_before_what_follows(
    desk: Path, zygote: Zygote, name: str
) -> None:
    """Checked against fsync(2), see order.py."""
    scenario = SCENARIOS[name]
    with laid(desk / "shop", scenario) as (shop, drops):
        ended = zygote.traced(shop.root, "-e", f"trace={TRACED}", **scenario.order)
        assert ended.code == 0, ended.log
        seen = Reader(shop).read(ended.trace)
        assert seen.faults == []
        assert seen.renames > 8 * len(drops), "claim, tries, intent, revision, archive, sheet, board at the least"


def test_the_reader_of_traces_misses_every_fsync_of_a_revision_that_is_taken_away(desk: Path, zygote: Zygote) -> None:
    with laid(desk / "shop", SCENARIOS["drops"]) as (shop, _):
        lines = zygote.traced(shop.root, "-e", f"trace={TRACED}").trace.splitlines()
        synced = {line.partition(" = ")[0] for line in lines if line.startswith("fsync") and "/.building/" in line}
        assert len(synced) > 10
        for call in synced:
            if "bootanimation.zip" in call:  # synced under its first name too, in scratch
                continue
            without = [line for line in lines if not line.startswith(call)]
            assert Reader(shop).read("\n".join(without)).faults, call
