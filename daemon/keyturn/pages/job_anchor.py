"""Where a job stands on its customer's sheet."""

from __future__ import annotations

import hashlib


def job_anchor(job: str) -> str:
    """Return the HTML id of a job on its customer's sheet."""
    return "j" + hashlib.sha256(job.encode("utf-8", "surrogatepass")).hexdigest()[:10]
