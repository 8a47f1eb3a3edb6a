"""Scripts that draw a rig, its passage and its errors from numbers: plain ones, shared by report and bench.

Each puts its functions into one object, ``gatesim``; they are loaded in the order of `SCRIPTS`.
"""

from importlib.resources import files

SCRIPTS = ("diagram", "stage", "signals", "motion", "histogram", "moments", "player")


def script(name: str) -> str:
    """Text of one of them."""
    return (files("gatesim.view.drawing") / f"{name}.js").read_text(encoding="utf-8")
