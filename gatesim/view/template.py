"""Renders the package's page templates."""

from typing import Any


def render(name: str, **content: Any) -> str:
    """Fill a template of this folder; everything inserted is escaped, and nothing may be missing."""
    return _rendered(name, True, content)


def render_text(name: str, **content: Any) -> str:
    """Fill a template that is no page but plain text; nothing may be missing."""
    return _rendered(name, False, content) + "\n"


def _rendered(name: str, escape: bool, content: dict[str, Any]) -> str:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("gatesim", "view"),
        autoescape=escape,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name).render(**content)
