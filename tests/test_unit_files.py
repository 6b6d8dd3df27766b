"""The unit, its user and its folders are what systemd's own tools say they should be."""

import errno
import os
import re
import shutil
import stat
import struct
import subprocess
import sys
from pathlib import Path

import pytest

SYSTEMD = Path(__file__).parents[1] / "systemd"
PROGRAM = "/opt/keyturn/bin/keyturn"
NETWORK = ("keyturn-cluster.conf", "keyturn-hooks.conf", "keyturn-notify.conf")
DROPINS = (*NETWORK, "keyturn-lease.conf")
needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can give files to another user")


def program(name: str) -> str:
    """The path of a program; without it the test is skipped, on the build machine it fails."""
    path = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")
    if path is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(f"{name} is not installed")
    return path


def run(name: str, *args: str | Path) -> subprocess.CompletedProcess[str]:
    command = [program(name), *map(str, args)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def unit_at(place: Path, *changes: tuple[str, str], dropin: str = "") -> Path:
    """A copy of the unit that starts a program that exists here: /opt/keyturn does not."""
    place.mkdir(exist_ok=True)
    text = (SYSTEMD / "keyturn.service").read_text(encoding="utf-8")
    for old, new in ((PROGRAM, shutil.which("true") or "/bin/true"), *changes):
        assert old in text
        text = text.replace(old, new)
    (place / "keyturn.service").write_text(text, encoding="utf-8")
    if dropin:
        (place / "keyturn.service.d").mkdir()
        shutil.copy(SYSTEMD / dropin, place / "keyturn.service.d")
    return place / "keyturn.service"


def service() -> dict[str, list[str]]:
    """The directives of [Service] in order, all values of each."""
    found: dict[str, list[str]] = {}
    section = ""
    for line in (SYSTEMD / "keyturn.service").read_text(encoding="utf-8").splitlines():
        if line.startswith("["):
            section = line
        elif section == "[Service]" and "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


# -- the unit -----------------------------------------------------------------------------------

# `verify` does not ask whether the user exists (it need not, before the first start), so neither does this:
# keyturn.sysusers is tested below for making the user that the unit names.


def verify(unit: Path) -> subprocess.CompletedProcess[str]:
    return run("systemd-analyze", "verify", "--recursive-errors=yes", "--man=no", unit)


@pytest.mark.system
@pytest.mark.parametrize("dropin", ["", *DROPINS])
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path, dropin):
    told = verify(unit_at(tmp_path / "unit", dropin=dropin))
    assert (told.returncode, told.stderr) == (0, "")


@pytest.mark.system
@pytest.mark.parametrize(
    "change",
    [
        ("ProtectHome=yes", "ProtectHome=perhaps"),
        ("PrivateTmp=yes", "PrivateTemp=yes"),
        ("SystemCallFilter=~@privileged", "SystemCallFilter=~@prvileged"),
        ("ExecReload=/bin/kill", "ExecReload=/nowhere/kill"),
    ],
)
def test_systemd_would_have_found_a_mistake(tmp_path, change):
    told = verify(unit_at(tmp_path / "unit", change))
    assert told.returncode != 0 or told.stderr != ""


def exposure(unit: Path, bar: int) -> tuple[bool, float]:
    """Does the unit pass the bar, and its exposure: 0.0 (none) to 10.0; the bar counts in tenths."""
    told = run("systemd-analyze", "security", "--offline=true", f"--threshold={bar}", "--no-pager", unit)
    level = re.search(r"Overall exposure level for \S+: (\d+\.\d)", told.stdout)
    assert level is not None, told.stderr
    return told.returncode == 0, float(level[1])


# systemd-analyze(1): up to 3.0 of 10.0 is shown as "OK" or better; 30 is that bar in its tenths. The unit itself stays
# far below.
@pytest.mark.system
@pytest.mark.parametrize(("dropin", "bar"), [("", 3), *((name, 30) for name in DROPINS)])
def test_the_unit_exposes_little(tmp_path, dropin, bar):
    passes, level = exposure(unit_at(tmp_path / "unit", dropin=dropin), bar)
    assert passes
    assert level <= bar / 10


@pytest.mark.system
def test_an_unhardened_unit_would_not_pass(tmp_path):
    bare = tmp_path / "keyturn.service"
    bare.write_text("[Service]\nType=notify\nUser=keyturn\nExecStart=/bin/true\n", encoding="utf-8")
    passes, level = exposure(bare, 30)
    assert not passes
    assert level > 3.0


def test_every_directive_of_the_hardening_is_explained_right_above_it():
    lines = (SYSTEMD / "keyturn.service").read_text(encoding="utf-8").splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("# Resources."))
    last = lines.index("[Install]")
    directives = [n for n in range(first, last) if re.match(r"[A-Z]\w+=", lines[n])]
    assert len(directives) > 30
    assert [lines[n] for n in directives if not re.match(r"# \S+", lines[n - 1])] == []


def test_the_service_is_started_watched_and_restarted_as_agreed():
    unit = service()
    assert unit["Type"] == ["notify"]
    assert unit["NotifyAccess"] == ["main"]
    assert unit["ExecStart"] == [f"{PROGRAM} run --root /srv/keyturn"]
    assert unit["Restart"] == ["on-failure"]
    assert unit["RestartPreventExitStatus"] == ["2"]  # exit codes: 2 is wrong use or set-up
    assert unit["UMask"] == ["0027"]


def test_a_worker_out_of_memory_does_not_take_the_service_with_it():
    # systemd.service(5): OOMPolicy=stop, the default, ends the whole service.
    assert service()["OOMPolicy"] == ["continue"]


@pytest.mark.parametrize("name", NETWORK)
def test_the_network_is_closed_but_for_the_drop_ins(name):
    unit = service()
    dropin = (SYSTEMD / name).read_text(encoding="utf-8")
    assert unit["PrivateNetwork"] == ["yes"]
    assert unit["RestrictAddressFamilies"] == ["AF_UNIX"]
    assert unit["IPAddressDeny"] == ["any"]
    assert re.search(r"^PrivateNetwork=no$", dropin, re.MULTILINE)
    assert re.search(r"^RestrictAddressFamilies=AF_INET AF_INET6$", dropin, re.MULTILINE)


# -- the user and the folders -------------------------------------------------------------------


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    """The root of a machine on which the service's user exists."""
    (tmp_path / "etc").mkdir()
    told = run("systemd-sysusers", f"--root={tmp_path}", SYSTEMD / "keyturn.sysusers")
    assert told.returncode == 0, told.stderr
    return tmp_path


def owner(machine: Path) -> tuple[int, int]:
    line = (machine / "etc" / "passwd").read_text(encoding="utf-8")
    return int(line.split(":")[2]), int(line.split(":")[3])


@pytest.fixture
def shop(machine: Path, tmp_path: Path) -> Path:
    """The folders as systemd-tmpfiles makes them; without root they are the caller's own."""
    config = tmp_path / "keyturn.conf"
    text = (SYSTEMD / "keyturn.tmpfiles").read_text(encoding="utf-8")
    if os.geteuid() != 0:
        text = re.sub(r"keyturn( +)keyturn( )", r"-\1-\2", text)
    config.write_text(text, encoding="utf-8")
    told = run("systemd-tmpfiles", "--create", f"--root={machine}", config)
    assert told.returncode == 0, told.stderr
    return machine / "srv" / "keyturn"


@pytest.mark.system
def test_the_user_may_not_log_in_and_lives_in_the_services_state_folder(machine):
    line = (machine / "etc" / "passwd").read_text(encoding="utf-8").strip()
    name, _, uid, gid, _, home, shell = line.split(":")
    assert name == service()["User"][0] == service()["Group"][0]
    assert 0 < int(uid) < 1000  # login.defs(5): system accounts lie below UID_MIN, by default 1000
    assert home == f"/var/lib/{service()['StateDirectory'][0]}"
    assert shell.endswith("/nologin")
    assert f"keyturn:x:{gid}:" in (machine / "etc/group").read_text(encoding="utf-8")


FOLDERS = {
    ".": 0o750,
    "inbox": 0o2770,
    "outbox": 0o3770,
    "rejects": 0o2770,
    "archive": 0o2750,
    "rules": 0o750,
    "fonts": 0o750,
    "work": 0o2750,
    "state": 0o750,
}


@pytest.mark.system
@pytest.mark.parametrize(("folder", "mode"), FOLDERS.items())
def test_each_folder_is_open_to_whom_it_should_be(shop, folder, mode):
    assert stat.S_IMODE((shop / folder).stat().st_mode) == mode


@pytest.mark.system
def test_there_are_no_other_folders(shop):
    assert {path.name for path in shop.iterdir()} == set(FOLDERS) - {"."}


@pytest.mark.system
@needs_root
@pytest.mark.parametrize("folder", FOLDERS)
def test_each_folder_belongs_to_the_service(shop, machine, folder):
    found = (shop / folder).stat()
    assert (found.st_uid, found.st_gid) == owner(machine)


def has_access_lists(folder: Path) -> bool:
    """Tried on a folder of our own: everything for user, group, others (linux/posix_acl.h: tags 1, 4, 32)."""
    (folder / "tried").mkdir()
    entries = [struct.pack("<HHI", tag, 7, 0xFFFFFFFF) for tag in (1, 4, 32)]
    try:
        os.setxattr(folder / "tried", "system.posix_acl_default", struct.pack("<I", 2) + b"".join(entries))
    except OSError as error:
        assert error.errno == errno.EOPNOTSUPP
        return False
    return True


@pytest.mark.system
@pytest.mark.parametrize("folder", ["inbox", "rejects"])
def test_a_drop_made_under_the_usual_umask_can_be_moved_by_the_service(shop, folder):
    """rename(2): moving a folder to another parent needs the right to write in the folder itself."""
    if not has_access_lists(shop):
        pytest.skip("this file system has no access lists")
    before = os.umask(0o022)
    try:
        (shop / folder / "van").mkdir()
        (shop / folder / "van" / "job.toml").touch()
    finally:
        os.umask(before)
    made = (shop / folder / "van").stat()
    assert stat.S_IMODE(made.st_mode) & 0o2070 == 0o2070
    assert made.st_gid == (shop / folder).stat().st_gid
    assert (shop / folder / "van" / "job.toml").stat().st_mode & 0o060 == 0o060


@pytest.mark.system
def test_making_the_folders_again_takes_nothing_away(shop, machine, tmp_path):
    (shop / "archive" / "van").mkdir()
    for act in ("--clean", "--remove", "--create"):
        run("systemd-tmpfiles", act, f"--root={machine}", tmp_path / "keyturn.conf")
    assert (shop / "archive" / "van").is_dir()


# -- the sample settings ------------------------------------------------------------------------


def test_the_program_takes_the_sample_settings_and_nothing_changes(tmp_path, monkeypatch):
    from keyturn.shop.settings import load

    for name in [name for name in os.environ if name.startswith("KEYTURN_")]:
        monkeypatch.delenv(name)
    without = load(tmp_path)
    shutil.copy(SYSTEMD / "keyturn.toml", tmp_path)
    assert load(tmp_path).model_dump() == without.model_dump()


# -- the system calls ---------------------------------------------------------------------------

WORK = '''
import ctypes, io, multiprocessing, os, pathlib, resource, shutil, sqlite3, sys, threading, zipfile


def frame(number):
    """A worker's task: limits as the crew sets them, still formats, colour management, linear algebra."""
    import numpy as np
    from PIL import Image, ImageCms

    resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    ctypes.CDLL(None).prctl(1, 9)  # PR_SET_PDEATHSIG, SIGKILL
    art = Image.fromarray(np.random.default_rng(number).integers(0, 256, (96, 128, 4), np.uint8), "RGBA")
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for kind, mode in (("PNG", "RGBA"), ("JPEG", "RGB"), ("WEBP", "RGBA"), ("TIFF", "RGB"), ("GIF", "RGB")):
        held = io.BytesIO()
        art.convert(mode).save(held, kind, icc_profile=srgb)
        Image.open(held).convert("RGB").resize((64, 48), Image.Resampling.LANCZOS).save(io.BytesIO(), "PNG")
    return number + 0 * float(np.linalg.svd(np.asarray(art, float)[..., 0])[1][0])


def main(root):
    """The service's day in small: hear of a drop, move it, note it, make frames, pack, publish, tidy."""
    from pebble import ProcessPool
    from watchdog.events import FileSystemEventHandler
    from watchdog.observers import Observer

    from keyturn.service.systemd import Notifier
    from keyturn.shop import access_lists
    from keyturn.shop.file_modes import set_mode

    notifier = Notifier.from_env({"NOTIFY_SOCKET": str(root / "nobody")})
    notifier.ready()
    for folder in ("inbox", "work", "outbox", "archive", "state"):
        (root / folder).mkdir()
    woken = threading.Event()
    handler = FileSystemEventHandler()
    handler.on_any_event = lambda event: woken.set()
    observer = Observer()
    observer.schedule(handler, str(root / "inbox"), recursive=True)
    observer.start()
    (root / "inbox" / "van").mkdir()
    (root / "inbox" / "van" / "job.toml").write_text('customer = "Fern Hollow Mobile Library"')
    assert woken.wait(30)
    observer.stop()
    observer.join()
    os.rename(root / "inbox" / "van", root / "work" / "van")
    ledger = sqlite3.connect(root / "state" / "ledger.sqlite")
    for line in ("pragma journal_mode=wal", "pragma synchronous=full", "create table drops (name text)"):
        ledger.execute(line)
    with ledger:
        ledger.execute("insert into drops values ('van')")
    with ProcessPool(max_workers=2, context=multiprocessing.get_context("forkserver")) as pool:
        assert list(pool.map(frame, range(3), timeout=60).result()) == [0, 1, 2]
    with zipfile.ZipFile(root / "work" / "a.zip", "w", zipfile.ZIP_STORED) as bundle:
        bundle.writestr("desc.txt", "64 48 10\\n")
    for path in (root / "work" / "a.zip", root / "work"):
        handle = os.open(path, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)
    shutil.copy2(root / "work" / "a.zip", root / "outbox" / "a.zip")
    set_mode(root / "outbox", 0o2750)
    access_lists.set_permissions(root / "outbox", 0o770)
    shutil.copytree(root / "work" / "van", root / "archive" / "van")
    shutil.rmtree(root / "work" / "van")
    notifier.stopping()


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
'''


def calls_of(name: str) -> set[str]:
    """A set such as @system-service spelled out, or the one call itself."""
    if not name.startswith("@"):
        return {name}
    told = run("systemd-analyze", "syscall-filter", "--no-pager", name)
    assert told.returncode == 0, told.stderr
    words = [line.strip() for line in told.stdout.splitlines()[1:]]
    return set().union(*(calls_of(word) for word in words if word and not word.startswith("#")))


def allowed_calls() -> set[str]:
    """systemd.exec(5), SystemCallFilter=: the first line opens, a later one adds or, with ~, takes away."""
    allowed: set[str] = set()
    for value in service()["SystemCallFilter"]:
        named = set().union(*(calls_of(word) for word in value.removeprefix("~").split()))
        allowed = allowed - named if value.startswith("~") else allowed | named
    return allowed


@pytest.fixture(scope="module")
def trace(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Every system call of the work above and its workers, one a line."""
    place = tmp_path_factory.mktemp("trace")
    (place / "work.py").write_text(WORK, encoding="utf-8")
    (place / "shop").mkdir()
    work = (sys.executable, place / "work.py", place / "shop")
    told = run("strace", "-f", "-qq", "-o", place / "calls", *work)
    assert told.returncode == 0, told.stderr
    return (place / "calls").read_text(encoding="utf-8", errors="replace").splitlines()


def names_in(trace: list[str]) -> set[str]:
    return {match[1] for line in trace if (match := re.match(r"\d+ +([a-z_]\w*)\(", line))}


@pytest.mark.system
def test_all_the_work_needs_is_among_the_calls_allowed(trace):
    used = names_in(trace)
    used -= {"mbind"}  # a test below refuses it
    assert {"inotify_add_watch", "prlimit64", "prctl", "fdatasync", "setxattr"} <= used  # workers are traced as well
    if os.geteuid() == 0:
        # SQLite, os_unix.c, robustFchown: asked for by root alone, and the service is not root.
        used -= {"fchown"}
    assert used - allowed_calls() == set()


@pytest.mark.system
def test_linear_algebra_does_the_same_where_the_placing_of_memory_is_refused():
    """OpenBLAS places its buffers with mbind(2), a hint; systemd.exec(5), SystemCallErrorNumber=."""
    sums = "import numpy as np; a = np.arange(250_000.0).reshape(500, 500); print(np.linalg.svd(a @ a)[1][:3])"
    told = run(sys.executable, "-c", sums)
    assert told.returncode == 0, told.stderr
    refused = run(
        "strace", "-f", "-qq", "-e", "inject=mbind:error=EPERM", "-e", "trace=mbind", sys.executable, "-c", sums
    )
    assert (refused.returncode, refused.stdout) == (0, told.stdout)


@pytest.mark.system
def test_calls_that_no_picture_needs_are_not_allowed():
    # One of each of systemd's groups @mount, @module, @raw-io, @debug, @reboot, @keyring, @clock, @swap ...
    outside = {"mount", "init_module", "iopl", "ptrace", "reboot", "add_key", "settimeofday", "swapon"}
    # ... and calls known from kernel exploits (common practice, no source).
    outside |= {"chown", "setuid", "bpf", "io_uring_setup", "userfaultfd", "process_vm_writev"}
    assert allowed_calls() & outside == set()


@pytest.mark.system
def test_no_memory_is_writable_and_runnable_and_none_becomes_runnable(trace):
    """systemd.exec(5), MemoryDenyWriteExecute=: what it refuses, looked for in what the work does."""
    maps = [line for line in trace if re.match(r"\d+ +mmap\(", line)]
    assert maps
    assert [line for line in maps if "PROT_WRITE|PROT_EXEC" in line] == []
    assert [line for line in trace if re.search(r" (pkey_)?mprotect\(.*PROT_EXEC", line)] == []
    assert [line for line in trace if re.search(r" shmat\(.*SHM_EXEC", line)] == []


@pytest.mark.system
def test_the_work_opens_local_sockets_alone(trace):
    families = {match[1] for line in trace if (match := re.search(r" socket(?:pair)?\((AF_\w+)", line))}
    assert families == {"AF_UNIX"}
