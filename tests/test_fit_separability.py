"""What a log cannot tell apart, and what would."""

import numpy as np
import pytest

from gatesim.shopfloor.fit.fit import fit
from gatesim.shopfloor.fit.result import FitOptions
from tests.fit_logs import logs, rig

REFERENCES = np.repeat([0.15, 0.2, 0.26], 10)


@pytest.mark.long
def test_friction_and_slope_cannot_be_separated_from_rest_and_a_second_slope_would() -> None:
    """From rest only a = g (sin - mu cos) shows (Newton's second law): one combination of the two.

    a stays the same along d mu cos(theta) = (cos(theta) + mu sin(theta)) d theta.
    """
    [log], _ = logs(rig(), REFERENCES, 1, 2)
    found = fit(rig(), log, FitOptions(["path.friction", "path.slope"], held_out=0.0))
    apart = found.separability
    assert (apart.rank, apart.complete) == (1, False)
    theta, mu = np.radians(40), 0.3
    turn = np.array([(1.0 + mu * np.tan(theta)) / mu, 1.0 / theta])  # in relative changes
    # along that direction the estimate is anywhere, here a tenth off, and the derivatives are taken there
    np.testing.assert_allclose(np.abs(apart.directions[-1]), turn / np.linalg.norm(turn), rtol=0.05)
    assert np.isinf(found.std[:2]).all()
    best = found.extras[0]
    assert best.what.startswith("a slope")
    assert best.smallest > 10.0
    assert best.std["path.friction"] < 0.1
    # no further part or spacing helps, as no other motion is seen
    assert all(e.smallest < 1e-2 for e in found.extras if not e.what.startswith("a slope"))


@pytest.mark.long
def test_a_further_register_gains_what_was_foretold() -> None:
    """Foretold from the fit without the register, then logged."""
    scenario = rig(gate='rearm = "400 mm"')
    [log], _ = logs(scenario, REFERENCES, 1, 6)
    told = {k: log.numbers[k] for k in ("dwell", "capture", "reference")}
    short = fit(
        scenario,
        log.__class__("s.csv", told, {}, {}, log.lines, (), ()),
        FitOptions(["gate.first"], held_out=0.0),
    )
    extra = next(e for e in short.extras if e.what == "log the register third capture as well")
    more = {**told, "third_capture": log.numbers["third_capture"]}
    full = fit(
        scenario,
        log.__class__("s.csv", more, {}, {}, log.lines, (), ()),
        FitOptions(["gate.first"], held_out=0.0),
    )
    assert extra.std["gate.first"] == pytest.approx(full.std[0], rel=0.05)
    assert full.std[0] < 0.98 * short.std[0]


@pytest.mark.long
def test_what_the_counts_do_not_depend_on_is_not_determined() -> None:
    [log], _ = logs(rig(), REFERENCES, 1, 2)
    found = fit(rig(), log, FitOptions(["part.mass"], held_out=0.0))
    assert found.separability.rank == 0
    assert np.isinf(found.std[0])
