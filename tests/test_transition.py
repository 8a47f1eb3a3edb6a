"""Lists of transitions against what a plain loop over one list does."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from gatesim.ground.transition import alternating, counted_up_to, merged, ordered, trimmed, without_reversals

INF = np.inf


def lists(strategy):
    return st.lists(strategy, min_size=2, max_size=8).map(lambda row: row[: len(row) // 2 * 2])


whole = st.integers(0, 30).map(float)


def drop_pairs(row):
    """Neighbours out of order go, the first first, until none is left."""
    row = list(row)
    while True:
        bad = next((i for i in range(len(row) - 1) if row[i] >= row[i + 1]), None)
        if bad is None:
            return row
        del row[bad : bad + 2]


@given(st.lists(lists(whole), min_size=1, max_size=6))
def test_edges_that_came_out_of_order_go_in_pairs(rows):
    width = max(len(row) for row in rows)
    times = np.array([row + [INF] * (width - len(row)) for row in rows])
    found = without_reversals(times)
    assert [row[np.isfinite(row)].tolist() for row in found] == [drop_pairs(row) for row in rows]


@given(lists(whole | st.just(np.nan)))
def test_an_edge_after_a_lost_one_changes_nothing(row):
    row = np.where(np.isnan(row), np.nan, np.arange(len(row)))
    dark, expected = False, []
    for column, time in enumerate(row):
        if np.isfinite(time) and dark != (column % 2 == 0):
            dark = column % 2 == 0
            expected.append(time)
    found = alternating(np.array([row]))
    assert found[0, : len(expected)].tolist() == expected
    assert np.isinf(found[0, len(expected) :]).all()
    assert found.shape[1] == len(row)


@given(st.lists(lists(whole), min_size=1, max_size=4))
def test_merged_is_dark_whenever_one_of_the_signals_is(rows):
    signals = [np.array([np.unique(row)[: np.unique(row).size // 2 * 2]]) for row in rows]
    found = merged([signal for signal in signals if signal.size] or [np.full((1, 2), INF)])
    at = np.arange(-0.5, 32.0)
    dark = [sum(((s[0] <= t).sum() % 2) for s in signals) > 0 for t in at]
    assert [(found[0] <= t).sum() % 2 == 1 for t in at] == dark


def test_columns_are_kept_by_ordering_and_trimmed_by_compacting():
    times = np.array([[3.0, INF, 1.0, INF], [INF, INF, INF, INF]])
    assert ordered(times).tolist() == [[1.0, 3.0, INF, INF], [INF] * 4]
    assert trimmed(ordered(times)).tolist() == [[1.0, 3.0], [INF, INF]]
    assert trimmed(ordered(np.full((2, 1), INF))).shape == (2, 2)


@given(st.lists(whole, min_size=1, max_size=8).map(sorted), st.lists(whole | st.just(-INF), max_size=8))
def test_times_up_to_a_moment_are_counted_in_order_and_out_of_order(row, moments):
    """Beside each other in one call: each moment just behind its own time, and anywhere."""
    behind = [t + 0.5 for t in row] + [INF] * 8
    moments = [*moments, *behind][: len(row)]
    found = counted_up_to(np.array([row, row]), np.array([behind[: len(row)], moments]))
    for counts, at in zip(found, (behind, moments), strict=False):
        assert list(counts) == [sum(t <= moment for t in row) for moment in at[: len(row)]]
