"""Families of tables: what a user may choose among, each member a class in a file of its own."""

import inspect
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Generic, TypeVar, Union, get_origin

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

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        union: Any = Union.__getitem__(self.members)
        schema: CoreSchema = handler.generate_schema(Annotated[union, Field(discriminator=self.tag)])
        return schema


def check_complete(member: type) -> None:
    """Raise TypeError where a class leaves open what its base asks for.

    These are abstract members, and class variables that a base declares without a value; of a table
    and of the stage that its ``build`` makes.
    """
    build = getattr(member, "build", None)
    if build is not None and issubclass(member, Table):
        check_complete(build.__annotations__["return"])
    missing = set(getattr(member, "__abstractmethods__", ()))
    for base in member.__mro__:
        declared = inspect.get_annotations(base)
        missing |= {key for key, kind in declared.items() if _unset(member, key, kind)}
    if missing:
        raise TypeError(f"{member.__name__} in {member.__module__} leaves out {', '.join(sorted(missing))}")


def _unset(member: type, key: str, kind: object) -> bool:
    return get_origin(kind) is ClassVar and not hasattr(member, key)
