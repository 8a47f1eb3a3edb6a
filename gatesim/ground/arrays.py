"""Parameters of many trials: a float is shared by all of them, an (n,) array gives each its own."""

from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Rows = NDArray[np.intp] | NDArray[np.bool_] | slice
Flags = NDArray[np.bool_]
Scalar = float | Array

T = TypeVar("T")


def trial_count(*described: Any) -> int:
    """Number of trials in frozen dataclasses of floats and (n,) arrays: n, or 1 if nothing varies.

    Raises ValueError when two arrays disagree.
    """
    sizes = {
        np.size(value): f"{type(item).__name__}.{field.name}"
        for item in described
        for field in fields(item)
        if isinstance(value := getattr(item, field.name), np.ndarray) and value.ndim
    }
    if len(sizes) > 1:
        raise ValueError("arrays of different length: " + ", ".join(f"{k} has {n}" for n, k in sizes.items()))
    return next(iter(sizes), 1)


def take(item: T, rows: Rows) -> T:
    """Return the same dataclass for a selection of trials; what is shared stays shared."""
    if not is_dataclass(item) or isinstance(item, type):
        raise TypeError(f"{item!r} is no dataclass")
    chosen = {
        field.name: value[rows]
        for field in fields(item)
        if isinstance(value := getattr(item, field.name), np.ndarray) and value.ndim
    }
    return replace(item, **chosen) if chosen else item


def first_of(value: Scalar) -> float:
    """The value in the first trial: of a scalar, its own."""
    return float(np.ravel(value)[0])


def of_trials(value: Scalar, rows: Rows) -> Scalar:
    """One value a trial for some of the trials; a scalar as it is."""
    return value[rows] if isinstance(value, np.ndarray) and value.ndim else value


def column(value: Scalar) -> Array:
    """One value a trial as a column (n, 1), to go with lists (n, k); a scalar as it is."""
    array = np.asarray(value, float)
    return array[:, None] if array.ndim else array


def plain(value: Scalar) -> Scalar:
    """A 0-d array as a float, so that what all trials share stays shared."""
    return float(value) if np.ndim(value) == 0 else value
