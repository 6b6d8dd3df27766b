"""A service beside real file servers: whatever stalls, dies or is renamed on its way is made once, and none is refused.

The share is the one that README prints. Sources: smb.conf(5), smbclient(1), rsync(1), sftp(1), scp(1).
"""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from faults.live import running
from faults.uploads import NAMES, QUICK, WAYS, Upload, draw, ended, samba, wrong
from keyturn.shop.folders import Shop
from samples import until

STALL_S = 3.0
"""Three times the settle time of the test's shop."""


@pytest.mark.system
@pytest.mark.slow
@pytest.mark.skipif(os.geteuid() != 0, reason="smbd needs root")
@pytest.mark.usefixtures("needs_file_servers")
def test_every_way_of_uploading_ends_made_once_and_none_refused(shop: Shop, tmp_path: Path) -> None:
    (shop.root / "keyturn.toml").write_text(QUICK)
    names = [NAMES[number % len(NAMES)].format(way) for number, way in enumerate(WAYS)]
    with samba(shop) as port, running(shop):
        uploads = [Upload(draw(tmp_path / "art" / name), shop.inbox, port, STALL_S) for name in names]
        threads = [threading.Thread(target=WAYS[way], args=(up,)) for way, up in zip(WAYS, uploads, strict=True)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        until(lambda: ended(shop, names))
    assert wrong(shop, names) == []


@pytest.fixture
def needs_file_servers(needs: object) -> None:
    assert callable(needs)
    for program in ("smbd", "smbclient", "rsync", "sftp", "scp"):
        needs(program)
