"""The JSON Schema of job.toml, from which editors complete it. Run as a module, it writes job.schema.json."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from keyturn.manifest.models import Manifest


def schema() -> dict[str, Any]:
    """The JSON Schema of job.toml, for editors."""
    return Manifest.model_json_schema()


def schema_text() -> str:
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(__file__).with_name("job.schema.json").write_text(schema_text(), encoding="utf-8")
