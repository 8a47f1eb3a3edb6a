"""Physics simulator of parts passing light gates, and the length a counter makes of it.

One function a command; each returns a frozen result that prints itself (``str``), lists itself
(``data()``) and, where there is a picture, draws itself (``plot(ax)``).
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gatesim.api.bench import bench
    from gatesim.api.budget import budget
    from gatesim.api.choose import choose
    from gatesim.api.compare import compare
    from gatesim.api.edges import edges
    from gatesim.api.explain import explain
    from gatesim.api.feed import feed
    from gatesim.api.fit import fit
    from gatesim.api.formulas import formulas
    from gatesim.api.handover import handover
    from gatesim.api.keys import keys
    from gatesim.api.new import new
    from gatesim.api.passages import passages
    from gatesim.api.predict import predict
    from gatesim.api.qualify import qualify
    from gatesim.api.report import report
    from gatesim.api.study import study
    from gatesim.api.sweep import sweep
    from gatesim.api.trace import trace
    from gatesim.api.verify import verify
    from gatesim.ground.errors import InputError
    from gatesim.scenario import Scenario, load
    from gatesim.scenario import parse_text as parse

__all__ = [
    "InputError",
    "Scenario",
    "bench",
    "budget",
    "choose",
    "compare",
    "edges",
    "explain",
    "feed",
    "fit",
    "formulas",
    "handover",
    "keys",
    "load",
    "new",
    "parse",
    "passages",
    "predict",
    "qualify",
    "report",
    "study",
    "sweep",
    "trace",
    "verify",
]

_ELSEWHERE = {
    "InputError": ("gatesim.ground.errors", "InputError"),
    "Scenario": ("gatesim.scenario", "Scenario"),
    "load": ("gatesim.scenario", "load"),
    "parse": ("gatesim.scenario", "parse_text"),
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for: importing a submodule stays cheap."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, inside = _ELSEWHERE.get(name, (f"gatesim.api.{name}", name))
    return getattr(import_module(module), inside)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
