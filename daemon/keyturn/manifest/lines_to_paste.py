"""Lines of job.toml that mend a fault: where they go, and after a line break the lines. Mends end in them."""

from __future__ import annotations

from keyturn.manifest.models import FILE_NAME, Manifest

CONTAIN = 'fit = "contain"'
"""Shows a picture whole, with margins."""


def at_the_top(line: str) -> str:
    """Return a line that belongs before the first table."""
    return f"write at the top of {FILE_NAME}, instead of any {_key(line)} there:\n{line}"


def under_motion(manifest: Manifest, line: str) -> str:
    """Return the line for [motion], with the table's own line where `manifest` does not have it."""
    if "motion" not in manifest.model_fields_set:
        return f"write at the end of {FILE_NAME}:\n[motion]\n{line}"
    if _key(line) in manifest.motion.model_fields_set:
        return f"write under [motion] in {FILE_NAME}, instead of its {_key(line)}:\n{line}"
    return f"write under [motion] in {FILE_NAME}:\n{line}"


def in_part(number: int, line: str) -> str:
    """Return a line that takes the place of the same setting of part `number`, counted from 1."""
    return f"in {FILE_NAME}, write for the {_key(line)} of [[part]] number {number}:\n{line}"


def _key(line: str) -> str:
    return line.split(" = ")[0]
