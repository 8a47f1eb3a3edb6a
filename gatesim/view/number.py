"""Numbers as people read them."""

import math
from collections.abc import Iterable


def decimals_for(error: float, digits: int = 2) -> int:
    """Decimal places that show ``digits`` significant digits of an error; 6 if it is 0 or unknown."""
    if not (math.isfinite(error) and error > 0.0):
        return 6
    exponent = int(f"{error:.{digits - 1}e}".split("e")[1])  # rounded first: 0.0999 counts as 0.10
    return min(max(digits - 1 - exponent, 0), 9)


def with_error(value: float, error: float, scale: float = 1.0, like: float = math.nan) -> str:
    """Value with its standard error in brackets, in units of the last digit (JCGM 100, 7.2.2).

    ``scale`` multiplies both, such as 1e3 for m to mm. A dash stands for NaN. Where the error is 0
    or not known, the value gets the decimal places of the error ``like``.
    """
    if math.isnan(value):
        return "-"
    value, error = value * scale, error * scale
    places = decimals_for(error)
    last = round(error * 10**places) if math.isfinite(error) else 0
    return f"{value:.{places}f}({last})" if last else f"{value:.{decimals_for(like * scale)}f}"


def plain(value: float, digits: int = 4) -> str:
    """Short number of a few significant digits; a dash for NaN, a word for infinity."""
    if math.isnan(value):
        return "-"
    return f"{value:.{digits}g}" if math.isfinite(value) else "infinite"


def percent(share: float) -> str:
    """Share as per cent, finer near 0 and 100."""
    if math.isnan(share):
        return "-"
    tail = min(share, 1.0 - share)
    if tail < -1e-3:  # of correlated quantities, which may work against each other
        return f"{100.0 * share:.1f} %"
    if tail < 1e-7:
        return f"{100.0 * round(share):.0f} %"
    places = 1 if tail >= 0.01 else 3 if tail >= 1e-5 else 5
    return f"{100.0 * share:.{places}f} %"


def common_places(errors: Iterable[float], digits: int = 2) -> int:
    """Decimal places for a column of values with these errors: two digits of the one in the middle."""
    known = sorted(error for error in errors if math.isfinite(error) and error > 0.0)
    return decimals_for(known[len(known) // 2] if known else math.nan, digits)


def at_places(value: float, error: float, places: int) -> str:
    """As `with_error`, with so many decimal places; no bracket where the error does not reach the last."""
    if math.isnan(value):
        return "-"
    last = round(error * 10**places) if math.isfinite(error) else 0
    return fixed(value, places) + (f"({last})" if last else "")


def fixed(value: float, places: int, sign: str = "") -> str:
    """A number with so many decimal places, and no sign where they are all 0; a dash for NaN."""
    if math.isnan(value):
        return "-"
    text = f"{value:{sign}.{places}f}"
    return text.lstrip("+-") if not text.strip("+-0.") else text
