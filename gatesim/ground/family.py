"""Families of tables: what a user may choose among, each member a class in a file of its own."""

import inspect
from dataclasses import dataclass
from typing import Annotated, Any, Generic, TypeVar, Union

from pydantic import Field
from pydantic_core import CoreSchema

from gatesim.ground.table import Table

MemberT = TypeVar("MemberT", bound=Table)


@dataclass(frozen=True)
class Family(Generic[MemberT]):
    """The tables that a key of a scenario may hold, told apart by their key ``tag``.

    Annotates the field: ``filter: Annotated[FilterTable, FILTERS]``. Raises TypeError where a
    member, or the stage that its ``build`` makes, leaves out what its base asks of it: it fails at import.
    """

    tag: str
    members: tuple[type[MemberT], ...]

    def __post_init__(self) -> None:
        for member in self.members:
            check_complete(member)
            build = getattr(member, "build", None)
            if build is not None:
                check_complete(build.__annotations__["return"])

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        union: Any = Union.__getitem__(self.members)
        schema: CoreSchema = handler.generate_schema(Annotated[union, Field(discriminator=self.tag)])
        return schema


def check_complete(member: type) -> None:
    """Raise TypeError where a class leaves abstract members of its base open."""
    if inspect.isabstract(member):
        missing = ", ".join(sorted(vars(member)["__abstractmethods__"]))
        raise TypeError(f"{member.__name__} in {member.__module__} leaves out {missing}")
