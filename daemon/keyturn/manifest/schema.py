"""The JSON Schema of the manifest, with which editors complete job.toml.

`python -m keyturn.manifest.schema` writes it to job.schema.json.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from keyturn.manifest.models import Manifest


def schema() -> dict[str, Any]:
    """Return the JSON Schema of the manifest (draft 2020-12), as pydantic writes it."""
    return Manifest.model_json_schema()


def schema_text() -> str:
    """Return the schema as the text of job.schema.json."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(__file__).with_name("job.schema.json").write_text(schema_text(), encoding="utf-8")
