"""The setting `crew` chooses processes on this machine or a cluster."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from keyturn.shop import rulebook, settings
from keyturn.shop.reasons import ShopFault
from keyturn.workers import choice
from keyturn.workers.crew import LocalCrew


@pytest.mark.parametrize("address", ["tcp://10.0.0.5:8786", "tls://dask.fern-hollow.example:8786", "tcp://[fd00::5]:1"])
def test_a_schedulers_address_chooses_the_cluster(tmp_path: Path, address: str) -> None:
    pytest.importorskip("distributed")
    from keyturn.workers.cluster import ClusterCrew

    (tmp_path / settings.FILE_NAME).write_text(f'crew = "{address}"\n')
    assert isinstance(choice.chosen_crew(settings.load(tmp_path), rulebook.load()), ClusterCrew)


def test_without_one_the_work_is_done_here(tmp_path: Path) -> None:
    assert isinstance(choice.chosen_crew(settings.load(tmp_path), rulebook.load()), LocalCrew)


@pytest.mark.parametrize("address", ["10.0.0.5:8786", "http://10.0.0.5:8786", "tcp://10.0.0.5", "cluster"])
def test_any_other_address_is_refused_with_an_example(tmp_path: Path, address: str) -> None:
    (tmp_path / settings.FILE_NAME).write_text(f'crew = "{address}"\n')
    with pytest.raises(ShopFault, match=r'crew: .*"tcp://10\.0\.0\.5:8786"'):
        settings.load(tmp_path)


def test_without_the_extra_the_setting_is_refused_with_the_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / settings.FILE_NAME).write_text('crew = "tcp://10.0.0.5:8786"\n')
    monkeypatch.delitem(sys.modules, "keyturn.workers.cluster", raising=False)
    monkeypatch.delattr("keyturn.workers.cluster", raising=False)
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ShopFault, match=r"needs the extra cluster .*keyturn\[cluster\]"):
        choice.chosen_crew(settings.load(tmp_path), rulebook.load())


def test_without_a_cluster_its_library_is_not_imported() -> None:
    code = "import sys, keyturn.commands.app, keyturn.service.loop; sys.exit('distributed' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
