"""JSON Schema of the scenario format, for editors that complete and check TOML."""

from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema

from gatesim.ground.quantity import Quantity
from gatesim.scenario.model import Scenario


class _TextDefaults(GenerateJsonSchema):
    def encode_default(self, dft: Any) -> Any:
        return dft.text if isinstance(dft, Quantity) else super().encode_default(dft)


def json_schema() -> dict[str, Any]:
    """Schema in JSON Schema draft 2020-12, with descriptions and example units."""
    return schema_of(Scenario, "gatesim scenario")


def schema_of(model: type[BaseModel], title: str) -> dict[str, Any]:
    """Schema of a file's whole table."""
    schema = model.model_json_schema(schema_generator=_TextDefaults)
    return {"$schema": GenerateJsonSchema.schema_dialect, **schema, "title": title}
