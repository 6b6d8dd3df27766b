"""The odd-art campaign: thousands of odd files through the line's own work, in workers, and what became of each.

    python tests/odd/campaign.py [--count N] [--each 40] [--only tiff-lab] [--line 40] [--verbose]

Each file must be made, the right way up and in the right colours, or refused with a reason. Of every `--line` files
one also goes as a drop through the whole line. Exit code 1 where any outcome is another.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from PIL import Image

from keyturn.pipeline import Bench, make, understand
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import InlineCrew, LocalCrew
from odd.judging import Outcome, Task, tried
from odd.makers import every
from odd.marker import PANEL, Odd

ALLOWED = {
    "made": ("made",),
    "refused": ("refused",),
    "either": ("made", "refused"),
    "any": ("made", "refused"),
}
"""Outcomes that are no fault, by what was expected."""


def faults(odd: Odd, outcome: Outcome) -> str:
    """Empty where the outcome is one of those allowed. A worker that dies or hangs is a fault, though it is told."""
    if "picture-defeats-reader" in outcome.codes:
        return "defeated its reader"
    return "" if outcome.what in ALLOWED[odd.expect] else outcome.what


def run(files: list[Odd], rules: Rulebook, workers: int = 0) -> list[tuple[Odd, Outcome]]:
    """Workers have the shop's own limits, but a shorter patience: 20 s a file."""
    limits = rules.intake.workers.model_copy(update={"wall_seconds": 20, "cpu_seconds": 20})
    crew = LocalCrew(workers, limits)
    with tempfile.TemporaryDirectory(prefix="keyturn-odd-") as place:
        try:
            results = crew.run(tried, _laid(files, Path(place), rules), lambda task: task.odd.name)
            return list(zip(files, map(_told, results), strict=True))
        finally:
            crew.close()


def _laid(files: Iterable[Odd], place: Path, rules: Rulebook) -> Iterator[Task]:
    backdrop = laid_backdrop(place)
    for number, odd in enumerate(files):
        path = place / str(number)
        path.write_bytes(odd.data)
        yield Task(odd, path, backdrop, rules.intake, number)


def laid_backdrop(place: Path) -> Path:
    path = place / "backdrop.png"
    Image.new("RGB", PANEL).save(path)
    return path


def _told(result: Outcome | Refused) -> Outcome:
    if isinstance(result, Refused):  # the crew's own word: the worker died or hung
        return Outcome("refused", tuple(reason.code for reason in result.reasons))
    return result


def with_small_radio(place: Path) -> Rulebook:
    """The shop's rules and one more radio, "small", with the tests' panel."""
    text = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
    text = text.replace("width = 768", f"width = {PANEL[0]}").replace("height = 1024", f"height = {PANEL[1]}")
    (place / "radios").mkdir()
    (place / "radios" / "small.toml").write_text(text, encoding="utf-8")
    return rulebook.load(place)


def through_the_line(odd: Odd, rules: Rulebook) -> str:
    """As a drop of its own, from folder to stick: "made" or "refused"; anything else raises."""
    bench = Bench(rules, InlineCrew(), lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
    with tempfile.TemporaryDirectory(prefix="keyturn-odd-") as place:
        drop, scratch, staging = (Path(place) / name for name in ("drop", "scratch", "staging"))
        for folder in (drop, scratch, staging):
            folder.mkdir()
        (drop / "0001.png").write_bytes(odd.data)
        manifest = 'customer = "Fern Hollow Mobile Library"\nradio = "small"\n'
        (drop / "job.toml").write_text(manifest + '[[part]]\nart = "0001.png"\n', encoding="utf-8")
        try:
            make(understand(drop, "odd", scratch, bench), "claim", "odd", 1, staging, scratch, bench)
        except Refused as refused:
            return "refused" if refused.reasons else "refused without a reason"
        return "made"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=0, help="only so many, evenly spread")
    parser.add_argument("--each", type=int, default=40, help="files of every family to hurt")
    parser.add_argument("--only", default="", help="names that begin so")
    parser.add_argument("--line", type=int, default=40, help="one in so many goes through the whole line")
    parser.add_argument("--verbose", action="store_true", help="tell every refusal")
    args = parser.parse_args()
    files = [odd for odd in every(args.each) if odd.name.startswith(args.only)]
    if args.count:
        files = files[:: max(1, len(files) // args.count)]
    with tempfile.TemporaryDirectory(prefix="keyturn-odd-") as place:
        rules = with_small_radio(Path(place))
        bad = report(run(files, rules), verbose=args.verbose)
        whole = Counter(through_the_line(odd, rules) for odd in files[:: args.line])
    print(f"through the whole line: {dict(whole)}")
    return 1 if bad else 0


def report(outcomes: list[tuple[Odd, Outcome]], *, verbose: bool) -> int:
    """Prints the counts; gives how many outcomes are faults."""
    table = Counter((odd.family, odd.expect, outcome.what) for odd, outcome in outcomes)
    for (family, expect, what), count in sorted(table.items()):
        print(f"{family:6} wanted {expect:8} {what:8} {count}")
    print(f"refused for: {dict(Counter(c for _, o in outcomes if o.what == 'refused' for c in o.codes))}")
    bad = 0
    for odd, outcome in outcomes:
        fault = faults(odd, outcome)
        bad += bool(fault)
        if fault or (verbose and outcome.what == "refused"):
            print(f"{fault or 'allowed'}: {odd.name}: {outcome.text}")
    print(f"{len(outcomes)} files, {bad} faults")
    return bad


if __name__ == "__main__":
    sys.exit(main())
