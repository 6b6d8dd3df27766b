"""The schema that ships is the models' own, and describes every field."""

from __future__ import annotations

import json
from pathlib import Path

from keyturn.manifest import schema


def test_the_shipped_schema_is_the_models_own() -> None:
    """JSON Schema 2020-12, as pydantic writes it; editors complete job.toml from it."""
    shipped = Path(schema.__file__).with_name("job.schema.json").read_text(encoding="utf-8")
    assert shipped == schema.schema_text(), "run: python -m keyturn.manifest.schema"
    needed = [kind["required"] for kind in json.loads(shipped)["anyOf"]]
    assert needed == [["customer", "radio"], ["each"]], "a fleet's table names customer and radio itself"


def test_editors_take_the_short_forms_too() -> None:
    """JSON Schema 2020-12, anyOf: one of its schemas must take the value, and no bound stands outside them."""
    found = schema.schema()
    shorts = [found["properties"]["radio"], found["$defs"]["Glide"]["properties"]["sprite"]]
    for field in shorts:
        assert [kind["type"] for kind in field["anyOf"]] == ["string", "array"]
        assert not field.keys() & {"maxLength", "minLength", "maxItems", "minItems"}
    assert {"number", "array"} == {k["type"] for k in found["$defs"]["Sprite"]["properties"]["size"]["anyOf"]}
    undescribed = [
        f"{name}.{key}"
        for name, table in found["$defs"].items()
        for key, field in table["properties"].items()
        if not field.get("description")
    ]
    assert undescribed == []
