"""Lengths as sentences have them."""


def mm(value: float) -> str:
    """A length in mm to four significant digits, never finer than a micrometre."""
    return f"{round(1e3 * value, 3):.4g} mm"


def as_mm(value: float) -> str:
    """A length as a scenario takes it."""
    return f"{1e3 * value:.6g} mm"
