"""Renders the package's page templates."""

from typing import Any


def render(name: str, **content: Any) -> str:
    """Fill a template of this folder; everything inserted is escaped, and nothing may be missing."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("gatesim", "view"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name).render(**content)
