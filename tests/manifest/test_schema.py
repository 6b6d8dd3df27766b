"""The schema that ships is the one of the models."""

from __future__ import annotations

import json
from pathlib import Path

from keyturn.manifest import schema


def test_the_shipped_schema_is_the_models_own() -> None:
    """JSON Schema 2020-12, as pydantic writes it; editors complete job.toml from it."""
    shipped = Path(schema.__file__).with_name("job.schema.json").read_text(encoding="utf-8")
    assert shipped == schema.schema_text(), "run: python -m keyturn.manifest.schema"
    assert json.loads(shipped)["required"] == ["customer", "radio"]
