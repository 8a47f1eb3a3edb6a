"""Lengths as sentences have them."""

import math


def short(value: float, digits: int) -> str:
    """A number to so many significant digits, large ones without a power of ten."""
    text = f"{value:.{digits}g}"
    return f"{float(text):.0f}" if "e+" in text and abs(value) < 1e9 else text


def mm(value: float) -> str:
    """A length in mm to four significant digits and no finer than a micrometre; one digit of what is less."""
    shown = (round(1e3 * value, 3) or round(float(f"{1e3 * value:.1g}"), 6)) + 0.0  # no -0
    text = f"{shown:.6f}".rstrip("0") if 0 < abs(shown) < 1e-3 else short(shown, 4)
    return f"{text} mm"


def as_mm(value: float) -> str:
    """A length as a scenario takes it."""
    return f"{1e3 * value:.6g} mm"


def between(low: float, high: float, digits: str = ".6g") -> str:
    """A range of lengths (m) in mm; an end that is infinite is left out: up to 241 mm, from 239 mm on."""
    if math.isinf(low):
        return f"up to {1e3 * high:{digits}}\u00a0mm"
    if math.isinf(high):
        return f"from {1e3 * low:{digits}}\u00a0mm on"
    return f"{1e3 * low:{digits}} to {1e3 * high:{digits}}\u00a0mm"


def shortened(text: str, most: int = 120) -> str:
    """Text of at most so many characters, the middle left out of a longer one."""
    half = (most - 5) // 2
    return text if len(text) <= most else f"{text[:half]} ... {text[-half:]}"
