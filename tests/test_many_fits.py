"""Fits side by side are the fits alone, so that a rate over many of them is that of the tool."""

import numpy as np
import pytest

from gatesim.shopfloor.fit.fit import estimate
from gatesim.shopfloor.fit.result import FitOptions
from tests.fit_logs import logs, rig
from tests.many_fits import estimates, side_by_side


@pytest.mark.long
def test_fits_side_by_side_have_the_bits_that_each_has_alone() -> None:
    made, _ = logs(rig(), np.repeat([0.15, 0.2, 0.26], 8), 3, 5)
    made[1].numbers["capture"][4] += 60.0  # one that takes another way through the fit
    options = FitOptions(["path.friction"], draws=300)
    for together, log in zip(estimates(rig(), made, options), made, strict=True):
        alone = estimate(rig(), log, options)
        assert together.estimate.tobytes() == alone.estimate.tobytes()
        assert together.covariance.tobytes() == alone.covariance.tobytes()
        assert together.odd.outliers.tolist() == alone.odd.outliers.tolist()


def test_what_one_of_them_raises_comes_out_and_the_others_end() -> None:
    made, _ = logs(rig(), np.repeat([0.15, 0.26], 8), 1, 5)
    ended = []

    def fitted() -> None:
        ended.append(estimate(rig(), made[0], FitOptions(["path.friction"], draws=300)))

    def wrong() -> None:
        raise LookupError("mine")

    with pytest.raises(LookupError, match="mine"):
        side_by_side([fitted, wrong])
    assert len(ended) == 1
