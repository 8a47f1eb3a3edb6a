"""A feed study as plain data; times in s, rates in 1/s, shares from 0 to 1."""

from gatesim.studies.export import Json, number
from gatesim.studies.feed.fate import ELEMENTS, Fate
from gatesim.studies.feed.feed import FeedResult, Point


def feed_json(result: FeedResult) -> Json:
    """Everything but the single streams."""
    feeding = result.feeding
    return {
        "gaps": feeding.spacing.pattern,
        "scatter": feeding.spacing.scatter,
        "seed": feeding.seed,
        "parts": int(result.points[0].fates.sum()) if result.points else 0,
        "busy_time": result.busy_time,
        "wanted_yield": feeding.least_yield,
        "limit": number(result.limit),
        "limit_interval": [number(result.limit_low), number(result.limit_high)],
        "limited_by": result.limited_by,
        "points": [_point(point) for point in result.points],
    }


def _point(point: Point) -> Json:
    low, high = point.interval()
    lost = int(point.elements.sum())
    return {
        "rate": point.rate,
        **{fate.word: float(point.shares[fate]) for fate in Fate},
        "correct_interval": [low, high],
        "lost_to": {name: int(n) / lost for name, n in zip(ELEMENTS, point.elements, strict=True) if n},
    }
