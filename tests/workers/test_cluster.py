"""The cluster's crew: the local crew's results and bytes from other processes' workers, and what may go wrong there.

The clusters are real: a scheduler and worker processes under Dask's own nannies.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

import cluster_tasks as tasks
from keyturn.commands import doctor, make_by_hand
from keyturn.flatten.frame_source import Source
from keyturn.outbox import shop_state
from keyturn.package.picture_tasks import Check, small
from keyturn.pipeline import Bench
from keyturn.service.backoff import Backoff
from keyturn.service.loop import Service
from keyturn.shop import rulebook, settings
from keyturn.shop.folders import Shop
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Refused, ShopFault
from keyturn.workers.crew import Crew, InlineCrew, end
from samples import Drop, odd, picture, square

if find_spec("distributed") is None:
    if os.environ.get("CI"):
        raise ModuleNotFoundError("distributed is not installed (extra cluster, part of the extra test)")
    pytest.skip('distributed is not installed (pip install -e ".[cluster]")', allow_module_level=True)

import dask
import distributed

from keyturn.workers import batch_sizes
from keyturn.workers import cluster as clusters
from keyturn.workers.batch_sizes import MOST_TOGETHER
from keyturn.workers.cluster import ClusterCrew
from keyturn.workers.job_messages import MOST_AT_ONCE
from keyturn.workers.program_versions import program
from keyturn.workers.sent_files import LARGE_BYTES

PATIENCE_S = 60
"""Only a test that fails waits so long."""


# One failure less than Dask allows of itself: a worker takes seconds to start anew. And a LocalCluster gives up a
# worker that it misses at one look so long after a death, though its nanny has started it again meanwhile.
CONFIG = {"distributed.scheduler.allowed-failures": 1, "distributed.deploy.lost-worker-timeout": "1 hour"}


@contextmanager
def a_cluster(workers: int = 2, **more: Any) -> Iterator[distributed.LocalCluster]:
    with (
        dask.config.set(CONFIG),
        distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=":0", **more
        ) as made,
    ):
        yield made


@pytest.fixture(scope="module")
def machines() -> Iterator[distributed.LocalCluster]:
    with a_cluster() as made:
        yield made


@pytest.fixture
def crew(machines: distributed.LocalCluster) -> Iterator[ClusterCrew]:
    limits = rulebook.load().intake.workers.model_copy(update={"wall_seconds": 4.0, "memory_mib": 1024})
    made = ClusterCrew(machines.scheduler_address, limits)
    yield made
    made.close()


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


def worker_pids(machines: distributed.LocalCluster) -> list[int]:
    with distributed.Client(machines, set_as_default=False) as client:
        return list(client.run(os.getpid).values())


def made_with(crew: Crew, drop: Path, out: Path, bench: Bench) -> dict[str, bytes]:
    result = make_by_hand.make(drop, out, replace(bench, crew=crew))
    assert result.folder
    return {p.name: p.read_bytes() for p in sorted((result.folder / "usb").iterdir())}


@pytest.fixture
def gif_drop(drop: Drop) -> Path:
    root = drop(frames=1)
    for path in (root / "lamps").iterdir():
        path.unlink()
    frames = [picture((64, 64), number) for number in range(24)]
    frames[0].save(root / "lamps" / "lamps.gif", save_all=True, append_images=frames[1:], duration=100)
    return root


# -- as the local crew ----------------------------------------------------------------------------------


def test_a_drop_of_stills_has_the_same_bytes_as_without_workers(
    crew: ClusterCrew, drop: Drop, tmp_path: Path, bench: Bench
) -> None:
    root = drop(frames=12, size=(100, 100))
    assert made_with(crew, root, tmp_path / "a", bench) == made_with(InlineCrew(), root, tmp_path / "b", bench)


def test_a_gif_has_the_same_bytes_though_every_worker_is_killed_once(
    machines: distributed.LocalCluster, crew: ClusterCrew, gif_drop: Path, tmp_path: Path, bench: Bench
) -> None:
    """The clip was sent to a worker once, for all its frames: that worker's death loses it."""
    killed: list[int] = []

    def kill(stage: str, done: int, total: int) -> None:
        if done == 8 and not killed:
            killed.extend(worker_pids(machines))
            for pid in killed:
                os.kill(pid, signal.SIGKILL)

    made = made_with(crew, gif_drop, tmp_path / "a", replace(bench, progress=Progress(kill)))
    assert len(killed) == 2
    assert made == made_with(InlineCrew(), gif_drop, tmp_path / "b", bench)
    until(lambda: len(worker_pids(machines)) == 2)
    assert not set(worker_pids(machines)) & set(killed)


def test_results_come_in_the_order_of_the_jobs_and_a_dead_worker_loses_none(
    machines: distributed.LocalCluster, crew: ClusterCrew
) -> None:
    results = crew.run(tasks.slow, range(20), str)
    assert next(results) == 0
    os.kill(worker_pids(machines)[0], signal.SIGKILL)
    assert list(results) == list(range(1, 20))


def test_jobs_are_drawn_only_as_results_are_taken(crew: ClusterCrew) -> None:
    """The window is bounded, so memory does not grow with the number of frames."""
    drawn: list[int] = []

    def jobs() -> Iterator[int]:
        for number in range(1000):
            drawn.append(number)
            yield number

    results = crew.run(square, jobs(), str)
    assert [next(results), next(results), next(results)] == [0, 1, 4]
    assert len(drawn) <= 2 * 2 + 3, "no task is sent several at a time before one is known to be short"
    assert [next(results) for _ in range(500)] == [number * number for number in range(3, 503)]
    assert len(drawn) <= 503 + (2 * 2 + 1) * MOST_TOGETHER
    results.close()  # type: ignore[attr-defined]
    assert list(crew.run(square, [5], str)) == [25]


def short(crew: ClusterCrew, task: Callable[..., object]) -> None:
    """Let the crew believe that the task is short, so that many of its jobs travel together."""
    crew._sizes.learn(task.__name__, 1, 0.0)


def test_short_jobs_travel_together_and_a_dead_worker_loses_none(
    machines: distributed.LocalCluster, crew: ClusterCrew, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[int] = []
    map_ = distributed.Client.map

    def counted(self: distributed.Client, *args: Any, **more: Any) -> Any:
        sent.append(1)
        return map_(self, *args, **more)

    monkeypatch.setattr(distributed.Client, "map", counted)
    short(crew, square)
    results = crew.run(square, range(400), str)
    assert [next(results) for _ in range(200)] == [number * number for number in range(200)]
    assert len(sent) < 150
    os.kill(worker_pids(machines)[0], signal.SIGKILL)
    assert list(results) == [number * number for number in range(200, 400)]


def test_answers_that_wait_are_taken_at_once_in_their_order_and_a_dead_worker_loses_none(
    machines: distributed.LocalCluster, crew: ClusterCrew, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken: list[int] = []
    gather = distributed.Client.gather

    def counted(self: distributed.Client, futures: list[Any], **more: Any) -> Any:
        taken.append(len(futures))
        return gather(self, futures, **more)

    assert list(crew.run(square, [1], str)) == [1]
    monkeypatch.setattr(crew, "_workers", lambda: 32)  # two threads do the work of so many
    monkeypatch.setattr(crew, "_threads", 32)
    monkeypatch.setattr(distributed.Client, "gather", counted)
    results = crew.run(square, range(300), str)
    assert next(results) == 0
    until(lambda: all(future.status == "finished" for future in crew._client.futures.values()))
    assert [next(results) for _ in range(40)] == [number * number for number in range(1, 41)]
    assert max(taken) == MOST_AT_ONCE
    os.kill(worker_pids(machines)[0], signal.SIGKILL)
    assert list(results) == [number * number for number in range(41, 300)]


def test_a_job_that_ends_workers_costs_none_of_those_that_travel_with_it(crew: ClusterCrew) -> None:
    short(crew, tasks.fatal_late)
    results = list(crew.run(tasks.fatal_late, range(60), lambda n: f"{n}.png"))
    assert [r for r in results if not isinstance(r, Refused)] == [n for n in range(60) if n != tasks.FATAL_LATE]
    (refused,) = (r for r in results if isinstance(r, Refused))
    assert refused.reasons[0].file == f"{tasks.FATAL_LATE}.png"


def test_a_refused_a_dying_a_hanging_and_a_greedy_job_cost_only_themselves(
    machines: distributed.LocalCluster, crew: ClusterCrew
) -> None:
    until(lambda: len(worker_pids(machines)) == 2)  # one that another test killed has come back
    before = worker_pids(machines)
    results = list(crew.run(odd, range(1, 11), lambda n: f"{n}.png"))
    assert [r for r in results if not isinstance(r, Refused)] == [1, 2, 4, 6, 8, 10]
    refused = {r.reasons[0].file: r.reasons[0].what for r in results if isinstance(r, Refused)}
    assert set(refused) == {"3.png", "5.png", "7.png", "9.png"}
    assert refused["3.png"] == "is broken"
    assert "longer than 4 s" in refused["7.png"]
    assert "memory" in refused["9.png"]
    assert worker_pids(machines) == before, "the cluster's own workers were not harmed"


def test_a_job_that_ends_the_clusters_own_workers_costs_itself_a_reason(crew: ClusterCrew) -> None:
    results = list(crew.run(tasks.fatal, range(8), lambda n: f"{n}.png"))
    assert [r for r in results if not isinstance(r, Refused)] == [0, 1, 2, 3, 5, 6, 7]
    assert isinstance(results[4], Refused)
    assert results[4].reasons[0].file == "4.png"


def test_jobs_whose_results_nobody_takes_are_cancelled(machines: distributed.LocalCluster, crew: ClusterCrew) -> None:
    """By the scheduler's own list of what it has to do."""
    results = crew.run(tasks.slow, range(100), str)
    kept = [next(results)]
    left = list(crew._client.futures)
    assert left
    end(results)
    until(lambda: not any(key in machines.scheduler.tasks for key in left))
    assert kept == [0] and list(crew.run(square, [3], str)) == [9]


def test_it_rests_and_comes_back(crew: ClusterCrew) -> None:
    assert list(crew.run(square, [2], str)) == [4]
    crew.rest()
    crew.rest()
    assert list(crew.run(square, [3], str)) == [9]


# -- files ------------------------------------------------------------------------------------------------


def test_workers_read_copies_that_came_with_the_job(crew: ClusterCrew, tmp_path: Path) -> None:
    """No disk is shared: what a worker opens does not lie where the service has it."""
    paths = [tmp_path / f"{number}.png" for number in range(3)]
    for number, path in enumerate(paths):
        path.write_bytes(bytes([number]) * (number * LARGE_BYTES // 2))
    under = tmp_path / "under.png"
    under.write_bytes(b"backdrop")
    letters = [tasks.Letter(n, path, ((under, "under.png"),)) for n, path in enumerate(paths)]
    for letter, (place, data, more) in zip(letters, crew.run(tasks.opened, letters, str), strict=True):  # type: ignore[misc]
        assert data == letter.path.read_bytes()
        assert more == (b"backdrop",)
        assert not place.startswith(str(tmp_path))


@pytest.mark.filterwarnings("error:Sending large graph")
def test_pictures_that_travel_together_fill_no_log_with_warnings(
    crew: ClusterCrew, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch_sizes, "OF_A_SHARE", 1)
    short(crew, tasks.opened)
    letters = [tasks.Letter(n, tmp_path / f"{n}.png") for n in range(16)]
    for letter in letters:
        letter.path.write_bytes(bytes([letter.number]) * (LARGE_BYTES - 1))
    results = crew.run(tasks.opened, letters, str)
    assert [data[:1] for _, data, _ in results] == [bytes([n]) for n in range(16)]  # type: ignore[misc]


def test_a_file_of_many_jobs_travels_to_the_cluster_once_and_anew_when_it_changes(
    crew: ClusterCrew, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip = tmp_path / "clip.gif"
    sent: list[int] = []
    real = distributed.Client.scatter

    def scatter(self: distributed.Client, data: bytes, **more: Any) -> Any:
        sent.append(len(data))
        return real(self, data, **more)

    monkeypatch.setattr(distributed.Client, "scatter", scatter)
    for size in (LARGE_BYTES + 1, LARGE_BYTES + 2):
        clip.write_bytes(b"x" * size)
        found = list(crew.run(tasks.opened, [tasks.Letter(n, clip) for n in range(20)], str))
        assert {len(data) for _, data, _ in found} == {size}  # type: ignore[misc]
    assert sent == [LARGE_BYTES + 1, LARGE_BYTES + 2]


def test_a_file_that_is_gone_is_told_as_without_workers(crew: ClusterCrew, tmp_path: Path) -> None:
    for one in (InlineCrew(), crew):
        with pytest.raises(FileNotFoundError):
            list(one.run(tasks.opened, [tasks.Letter(0, tmp_path / "nothing.png")], str))


def test_a_full_disk_on_a_worker_is_the_shops_fault_and_names_the_worker(crew: ClusterCrew) -> None:
    with pytest.raises(ShopFault, match=r"worker tcp://.*No space left.*free some space"):
        list(crew.run(tasks.full, [1], str))


# -- the same programs ----------------------------------------------------------------------------------


def test_workers_with_another_keyturn_are_refused_by_name(machines: distributed.LocalCluster) -> None:
    with a_cluster(1, preload=["import keyturn; keyturn.__version__ = '0.0.1'"]) as older:
        crew = ClusterCrew(older.scheduler_address, rulebook.load().intake.workers)
        with pytest.raises(ShopFault, match=r"worker tcp://\S+ has keyturn 0\.0\.1 instead of"):
            list(crew.run(square, [1], str))
        crew.close()


def test_workers_without_keyturn_are_refused_by_name() -> None:
    with a_cluster(1, preload=["import sys; sys.modules['keyturn'] = None"]) as bare:
        crew = ClusterCrew(bare.scheduler_address, rulebook.load().intake.workers)
        with pytest.raises(ShopFault, match=r"worker tcp://\S+ cannot run Keyturn .*install the same Keyturn"):
            list(crew.run(square, [1], str))
        crew.close()


def test_a_worker_that_joins_later_looks_for_itself(crew: ClusterCrew, monkeypatch: pytest.MonkeyPatch) -> None:
    assert list(crew.run(square, [1], str)) == [1]
    monkeypatch.setattr(crew, "_program", {**program(), "pillow": "99"})
    with pytest.raises(ShopFault, match=r"worker tcp://\S+ has pillow .* instead of 99"):
        list(crew.run(square, [1], str))


def test_a_worker_with_other_code_of_the_same_version_is_refused_by_name(
    crew: ClusterCrew, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(crew, "_program", {**program(), "Keyturn's own code": "012345678901"})
    with pytest.raises(ShopFault, match=r"worker tcp://\S+ has Keyturn's own code \w{12} instead of 012345678901"):
        list(crew.run(square, [1], str))


def test_an_answer_that_is_there_has_time_to_come(crew: ClusterCrew) -> None:
    """Dask fetches a result anew each time that it is asked for one (distributed, `Future.result`)."""

    class SlowLine:
        status, asked = "pending", 0

        def result(self, timeout: float) -> str:
            self.asked, self.status = self.asked + 1, "finished"
            if timeout < 30:
                raise TimeoutError
            return "a picture"

    list(crew.run(square, [1], str))
    line = SlowLine()
    assert crew._awaited(line) == "a picture" and line.asked == 2


# -- a cluster that is not there ------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def test_doctor_tells_whether_the_cluster_answers(
    shop: Shop, machines: distributed.LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = shop.root / settings.FILE_NAME
    plain = config.read_text()
    config.write_text(f'crew = "{machines.scheduler_address}"\n{plain}')
    assert f"the cluster at {machines.scheduler_address} answers" in " ".join(f.what for f in doctor.examine(shop))
    monkeypatch.setattr(clusters, "CONNECT_S", 1.0)
    config.write_text(f'crew = "tcp://127.0.0.1:{free_port()}"\n{plain}')
    (ill,) = [f for f in doctor.examine(shop) if f.health is doctor.Health.ILL]
    assert "cannot be reached" in ill.what and ill.remedy


@pytest.fixture
def certificates(tmp_path: Path, needs: Callable[[str], str]) -> Iterator[None]:
    """An authority's, and one of this machine signed with it, made by OpenSSL and named to Dask by its own settings."""
    openssl, place = needs("openssl"), tmp_path / "certificates"
    place.mkdir()
    lasting = ["-days", "2", "-nodes", "-newkey", "rsa:2048", "-x509"]
    for words in (
        ["req", *lasting, "-subj", "/CN=shop", "-keyout", "ca.key", "-out", "ca.pem"],
        ["req", "-nodes", "-newkey", "rsa:2048", "-subj", "/CN=127.0.0.1", "-keyout", "own.key", "-out", "own.csr"],
        ["x509", "-req", "-in", "own.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-set_serial", "1", "-out", "own.pem"],
    ):
        subprocess.run([openssl, *words], cwd=place, check=True, capture_output=True)
    files = {"key": "own.key", "cert": "own.pem"}
    pairs = {f"{who}.{what}": files[what] for who in ("client", "worker", "scheduler") for what in files}
    named = {f"distributed.comm.tls.{key}": str(place / name) for key, name in {"ca-file": "ca.pem", **pairs}.items()}
    with dask.config.set({"distributed.comm.require-encryption": True, **named}):
        yield


def test_over_tls_the_same_bytes_come_back(certificates: None, drop: Drop) -> None:
    """A scheduler that takes nothing unencrypted; Dask's documentation, "TLS/SSL"."""
    intake = rulebook.load().intake
    jobs = [Check(Source(path, path.name), intake) for path in sorted((drop() / "lamps").iterdir())]
    with a_cluster(1, protocol="tls://", security=distributed.Security()) as machines:
        assert machines.scheduler_address.startswith("tls://")
        far = ClusterCrew(machines.scheduler_address, intake.workers)
        try:
            results = list(far.run(small, jobs, lambda job: job.source.name))
        finally:
            far.close()
    assert results == list(InlineCrew().run(small, jobs, lambda job: job.source.name))


def test_the_service_pauses_without_a_scheduler_and_goes_on_when_one_appears(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clusters, "CONNECT_S", 1.0)
    for name in ("service.backoff.RETRY_FIRST_S", "service.backoff.RETRY_MOST_S", "service.status.BOARD_EVERY_S"):
        monkeypatch.setattr(f"keyturn.{name}", 0.1)
    port = free_port()
    config = shop.root / settings.FILE_NAME
    config.write_text(f'crew = "tcp://127.0.0.1:{port}"\n{config.read_text()}')
    drop().rename(shop.inbox / "van")
    running = Service(shop)
    pauses: list[ShopFault] = []
    pause = Backoff.pause
    monkeypatch.setattr(Backoff, "pause", lambda self, fault: (pauses.append(fault), pause(self, fault)))
    thread = threading.Thread(target=running.run)
    thread.start()
    try:
        until(lambda: shop.board.exists() and "cannot be reached" in shop.board.read_text(encoding="utf-8"))
        assert "crew in keyturn.toml" in (shop_state.current_state(shop).paused or "")
        until(lambda: len(pauses) > 6)
        assert not list(shop.rejects.iterdir())
        with a_cluster(1, scheduler_port=port):
            until(lambda: list(shop.outbox.glob("*/van-r1/usb/bootanimation.zip")) != [])
            until(lambda: running.state().paused is None)
            running.stop()
            thread.join(PATIENCE_S)
    finally:
        running.stop()
        thread.join(PATIENCE_S)
    assert not thread.is_alive()
    assert not list(shop.rejects.iterdir())


def test_a_scheduler_that_goes_away_is_the_shops_fault() -> None:
    with a_cluster(1) as machines:
        crew = ClusterCrew(machines.scheduler_address, rulebook.load().intake.workers)
        results = crew.run(tasks.slow, range(100), str)
        assert next(results) == 0
    with pytest.raises(ShopFault, match="cannot be reached"):
        list(results)
    crew.close()


def test_a_cluster_without_workers_is_the_shops_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clusters, "WORKERS_WITHIN_S", 0.5)
    with a_cluster(0) as machines:
        crew = ClusterCrew(machines.scheduler_address, rulebook.load().intake.workers)
        with pytest.raises(ShopFault, match="has no workers -> start some: dask worker tcp://"):
            list(crew.run(square, [1], str))
        crew.close()


# -- from end to end -------------------------------------------------------------------------------------


def test_a_drop_made_by_hand_uses_the_shops_cluster_too(
    machines: distributed.LocalCluster, shop: Shop, drop: Drop, tmp_path: Path
) -> None:
    address = machines.scheduler_address
    config = shop.root / settings.FILE_NAME
    config.write_text(f'crew = "{address}"\n{config.read_text()}')
    command = [sys.executable, "-m", "keyturn", "make", drop(), "--out", tmp_path / "out", "--root", shop.root]
    said = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    assert said.returncode == 0, said.stderr
    assert f"the cluster at {address} does 2 jobs at a time" in said.stderr
    assert list((tmp_path / "out").glob("*/van-r1/usb/bootanimation.zip"))


def test_an_unreadable_picture_costs_its_own_drop_alone(
    crew: ClusterCrew, drop: Drop, tmp_path: Path, bench: Bench
) -> None:
    root = drop(frames=3)
    (root / "lamps" / "0002.png").write_bytes((root / "lamps" / "0002.png").read_bytes()[:60])
    with pytest.raises(Refused) as caught:
        make_by_hand.make(root, tmp_path / "out", replace(bench, crew=crew))
    assert {r.file for r in caught.value.reasons} == {"lamps/0002.png"}
    Image.new("RGB", (48, 64)).save(root / "lamps" / "0002.png")
    assert made_with(crew, root, tmp_path / "out", bench)


# -- last, for its jobs keep the workers busy until their time is up ------------------------------------


def test_closing_ends_a_wait_in_another_thread(crew: ClusterCrew) -> None:
    """As the service does it when it is told to stop: the drop in hand is given up, not refused."""
    threading.Timer(1.0, crew.close).start()
    with pytest.raises(CancelledError):
        list(crew.run(tasks.endless, range(3), str))
