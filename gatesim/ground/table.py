"""What every table of a scenario file has in common."""

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """A table of the file: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)
