"""Does a change of the code change what the program makes? Writes down all output, before and after, and compares.

    python tests/odd/same_output.py write before.json [--each 40]
    python tests/odd/same_output.py compare before.json after.json

`write` makes every drop of the sample inbox and every file of the odd-art campaign, each as a drop of its own, and
notes a SHA-256 of each file that comes out (zip, logo, card, sheet, JSON) or the codes of the reasons for a refusal.
A reason counts by its code, kind, file and field: its words may change. Some files are made by other programs, which
write the time of day into them; only files of equal bytes are compared. `compare` exits with 1 where anything differs.
"""

from __future__ import annotations

import argparse
import hashlib
import html
import json
import sys
import tempfile
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from keyturn.commands import make_by_hand
from keyturn.package import PRELOAD
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.reasons import Reason, Refused
from keyturn.workers.crew import InlineCrew, LocalCrew
from odd.campaign import with_small_radio
from odd.makers import every

SAMPLES = Path(__file__).parents[2] / "sample_inbox"
MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "small"\n[[part]]\nart = "0001.png"\n'

Output = dict[str, str]


def now() -> datetime:
    return datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


def told(reasons: Iterable[Reason]) -> str:
    return json.dumps([[r.code, r.kind, r.file, r.field] for r in reasons])


def made(drop: Path, out: Path, bench: Bench) -> Output:
    """Digests by path below `out`, or the refusal."""
    try:
        make_by_hand.make(drop, out, bench)
    except Refused as refused:
        return {"refused": told(refused.reasons)}
    files = sorted(path for path in out.rglob("*") if path.is_file())
    words = [word for path in files if path.name == "job.json" for word in _words(json.loads(path.read_text("utf-8")))]
    return {str(path.relative_to(out)): _digest(path, words) for path in files}


def _words(record: Any) -> list[str]:
    """The words of every reason in a record, the longest first."""
    if isinstance(record, list):
        return sorted({word for item in record for word in _words(item)}, key=len, reverse=True)
    if not isinstance(record, dict):
        return []
    own = [record[key] for key in ("what", "mend") if "code" in record and record[key]]
    return sorted({*own, *(word for item in record.values() for word in _words(item))}, key=len, reverse=True)


def _digest(path: Path, words: list[str]) -> str:
    data = path.read_bytes()
    if path.suffix == ".json":
        data = json.dumps(_without_words(json.loads(data)), sort_keys=True).encode()
    elif path.suffix in (".html", ".txt"):
        text = data.decode("utf-8")
        for word in words:
            text = text.replace(html.escape(word), "").replace(html.escape(word, quote=False), "").replace(word, "")
            text = text.replace(html.escape(word).replace("&quot;", "&#34;").replace("&#x27;", "&#39;"), "")
        data = text.encode("utf-8")
    return hashlib.sha256(data).hexdigest()


def _without_words(record: Any) -> Any:
    if isinstance(record, list):
        return [_without_words(item) for item in record]
    if not isinstance(record, dict):
        return record
    left_out = ("what", "mend") if "code" in record else ("files",) if "INSTALL.txt" in json.dumps(record) else ()
    return {key: _without_words(value) for key, value in record.items() if key not in left_out}


def write(target: Path, each: int) -> None:
    outputs: dict[str, Output] = {}
    with tempfile.TemporaryDirectory(prefix="keyturn-same-") as place:
        top = Path(place)
        rules = with_small_radio(top)
        crew = LocalCrew(0, rules.intake.workers, PRELOAD)
        for drop in sorted(p for p in SAMPLES.iterdir() if (p / "job.toml").is_file()):
            outputs[f"sample {drop.name}"] = made(drop, top / "out" / drop.name, Bench(rulebook.load(), crew, now))
        crew.close()
        for number, odd in enumerate(every(each)):
            drop = top / f"drop-{number}" / "odd"
            drop.mkdir(parents=True)
            (drop / "0001.png").write_bytes(odd.data)
            (drop / "job.toml").write_text(MANIFEST, encoding="utf-8")
            digest = hashlib.sha256(odd.data).hexdigest()[:12]
            outputs[f"odd {odd.name} {digest}"] = made(drop, top / f"out-{number}", Bench(rules, InlineCrew(), now))
    target.write_text(json.dumps(outputs, indent=1, sort_keys=True), encoding="utf-8")
    refused = sum("refused" in output for output in outputs.values())
    print(f"{len(outputs)} drops: {len(outputs) - refused} made, {refused} refused, in {target}")


def compare(before: Path, after: Path) -> int:
    old, new = (json.loads(path.read_text("utf-8")) for path in (before, after))
    differing = [
        f"{name}: {file}"
        for name in sorted(old.keys() & new.keys())
        for file in sorted(old[name].keys() | new[name].keys())
        if old[name].get(file) != new[name].get(file)
    ]
    print("\n".join(differing[:60]))
    alone = len(old.keys() ^ new.keys())
    print(f"{len(old.keys() & new.keys())} drops compared, {alone} of other bytes")
    print(f"{len(differing)} files or refusals differ")
    return 1 if differing else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("write", "compare"))
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--each", type=int, default=40, help="files of every family to damage")
    args = parser.parse_args()
    if args.what == "compare":
        return compare(*args.files)
    write(args.files[0], args.each)
    return 0


if __name__ == "__main__":
    sys.exit(main())
