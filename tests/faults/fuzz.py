"""Coverage-guided fuzzing of every reader in targets.py, with Atheris (libFuzzer for Python).

    pip install atheris; python tests/faults/fuzz.py --seconds 120 [TARGET ...]

Each target runs in a process of its own. Inputs that make one fail are left in FOUND/<target>; they belong in
tests/faults/found/<target>/, from where test_targets.py tries them for ever.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

NAMES = (
    *(
        "manifest",
        "desc",
        "bundle",
        "unzip",
        "cels",
        "pixels",
        "probe",
        "settings",
        "records",
        "slip",
        "label",
        "fonts",
    ),
)
SLOW_S, MEMORY_MIB, LONGEST = 20, 1500, 8192


def fuzz(target: str, corpus: Path, libfuzzer: list[str]) -> None:
    """Never returns."""
    import atheris

    with atheris.instrument_imports(include=["keyturn"]):
        from faults import targets
    from loguru import logger

    logger.remove()
    for number, seed in enumerate(targets.seeds(target)):
        (corpus / f"seed-{number}").write_bytes(seed)
    atheris.Setup([sys.argv[0], str(corpus), *libfuzzer], targets.TARGETS[target])
    atheris.Fuzz()


def run(target: str, seconds: int, found: Path) -> bool:
    """Fuzzes one target for so long; tells how often it was run and whether it held."""
    place = found / target
    place.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="keyturn-corpus-") as corpus:
        limits = [f"-max_total_time={seconds}", f"-timeout={SLOW_S}", f"-rss_limit_mb={MEMORY_MIB}"]
        options = [*limits, f"-max_len={LONGEST}", f"-artifact_prefix={place}/", "-print_final_stats=1"]
        command = [sys.executable, __file__, "--child", target, corpus, *options]
        environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        said = subprocess.run(command, capture_output=True, text=True, errors="replace", env=environment)
    runs = re.findall(r"number_of_executed_units: (\d+)", said.stderr) or ["?"]
    edges = re.findall(r"cov: (\d+)", said.stderr) or ["?"]
    cases = sorted(p.name for p in place.iterdir())
    print(
        f"{target:10} {runs[-1]:>9} runs {edges[-1]:>6} edges  {'held' if not cases else ' '.join(cases)}", flush=True
    )
    if said.returncode:
        print(said.stdout[-3000:], said.stderr[-1500:], flush=True)
    return said.returncode == 0


def main() -> int:
    if sys.argv[1:2] == ["--child"]:
        fuzz(sys.argv[2], Path(sys.argv[3]), sys.argv[4:])
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=f"of {', '.join(NAMES)}; default: all")
    parser.add_argument("--seconds", type=int, default=120, help="for each target")
    parser.add_argument("--found", type=Path, default=Path("found"), help="where failing inputs go")
    asked = parser.parse_args()
    if unknown := set(asked.targets) - set(NAMES):
        parser.error(f"unknown: {', '.join(sorted(unknown))}")
    failed = sum(not run(target, asked.seconds, asked.found) for target in asked.targets or NAMES)
    return min(1, failed)


if __name__ == "__main__":
    sys.exit(main())
