"""A fitted chute studied: what is said of it against the truth of 50 rigs, made without gatesim.

The truth is `scipy.integrate.solve_ivp` of x'' = g (sin slope - friction cos slope), a delay, a
normal jitter and a clock of random phase; the readings are worked out here from the counts.
"""

from datetime import date
from functools import partial

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from gatesim.chain.controller import controller_of
from gatesim.scenario import parse_text
from gatesim.shopfloor import handover
from gatesim.shopfloor.fit.fit import fit
from gatesim.shopfloor.fit.result import FitOptions
from gatesim.shopfloor.fit.write import fitted_text
from gatesim.shopfloor.handover import HandoverOptions, gather
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from tests.fit_logs import SLIDE
from tests.many_fits import side_by_side
from tests.plain_slide import TRUTH, G, drawn_rig, log_of

# An invented slide of which nothing is known but the slope, roughly: friction and slope go together
CHUTE = SLIDE.replace('standard_uncertainty = "0.1 deg"', 'standard_uncertainty = "0.5 deg"')
LENGTHS = np.repeat([0.17, 0.2, 0.23], 12)
RIGS = 50


def motion(rig):
    """Times at which a part's leading end has gone given distances, s."""
    a = G * (np.sin(rig["slope"]) - rig["friction"] * np.cos(rig["slope"]))
    path = solve_ivp(
        lambda t, y: [y[1], a], (0.0, 1.5), [0.0, 0.0], rtol=1e-11, atol=1e-13, dense_output=True
    ).sol
    return lambda x: brentq(lambda t: path(t)[0] - x, 1e-6, 1.4, xtol=1e-13)


def counts(rng, rig, lengths):
    """Registers of passages (n,), as `tests.plain_slide.counts` but by the solver."""
    at, n = motion(rig), len(lengths)
    ends = {
        length: [at(x + length) for x in (rig["first"], rig["first"] + rig["spacing"])]
        for length in {*lengths}
    }
    rear = np.array([ends[length] for length in lengths]).T
    front = [at(rig["first"]), at(rig["first"] + rig["spacing"])]

    def seen(times, delay):
        return times + delay + rng.normal(0.0, rig["jitter"], n)

    started, phase = seen(front[0], rig["dark"][0]), rng.random(n)
    edges = {
        "dwell": seen(rear[0], rig["light"][0]),
        "capture": seen(front[1], rig["dark"][1]),
        "rear_capture": seen(rear[1], rig["light"][1]),
    }
    return {name: np.floor(TRUTH["frequency"] * (t - started) + phase) for name, t in edges.items()}


@pytest.fixture(scope="module")
def fitted():
    """Every rig: its truth, the scenario fitted to its log, and 400 further passages of the nominal part."""
    rng, made = np.random.default_rng(21), []
    for _ in range(RIGS):
        rig = drawn_rig(rng, friction=0.27)
        rig["slope"] = rng.normal(TRUTH["slope"], np.radians(0.5))
        log = log_of(counts(rng, rig, LENGTHS), LENGTHS)
        made.append((log, counts(rng, rig, np.full(400, 0.2))))
    chute, options = parse_text(CHUTE), FitOptions(["path.friction"], held_out=0.0, draws=500)
    fits = side_by_side(partial(fit, chute, log, options) for log, _ in made)
    texts = [fitted_text(each, CHUTE, "spacing-dwell", date(2026, 1, 1)) for each in fits]
    return [(parse_text(text), registers) for text, (_, registers) in zip(texts, made, strict=True)]


@pytest.mark.long
def test_study_of_a_fitted_rig_has_the_uncertainty_that_50_such_rigs_have(fitted):
    errors, said, biases = [], [], []
    for scenario, registers in fitted:
        held = controller_of(scenario).constants["spacing-dwell"]
        read = held.gain * held.spacing * registers["dwell"] / registers["capture"] + held.zero
        errors.append(read - 0.2)
        result = study(RigModel(scenario), Plan(trials=4_000), workers=1).formulas["spacing-dwell"]
        said.append(result.uncertainty.value)
        biases.append(result.bias.value)
    told, truth = np.sqrt(np.mean(np.square(said))), float(np.std(errors))
    assert told == pytest.approx(truth, rel=0.2)
    # a straight line through the readings leaves the bend of this formula, and the study says so
    assert np.mean(biases) == pytest.approx(np.mean(errors), abs=0.5 * truth)
    assert np.mean(errors) > 3.0 * truth


@pytest.mark.long
def test_bands_of_counts_on_the_sheet_cover_95_percent_and_are_no_more_than_twice_too_wide(
    fitted, monkeypatch
):
    # the integer form is run on two passages of each part, not on all: its rate is not in question here
    registers_of = handover._registers
    monkeypatch.setattr(handover, "_registers", lambda made, passed: registers_of(made, passed)[:2])
    inside, off, widths = [], [], []
    for scenario, registers in fitted:
        options = HandoverOptions(formula="spacing-dwell", lengths=(0.17, 0.23))
        expected = gather(scenario, options, date(2026, 1, 1)).expected[1]
        assert expected.length == pytest.approx(0.2)
        for name in ("dwell", "capture"):
            low, high = expected.bands[name]
            inside.append(np.mean((registers[name] >= low) & (registers[name] <= high)))
            off.append(np.mean((registers[name] - 0.5 * (low + high)) ** 2))
            widths.append(high - low)
    # a rig is nearly always in or nearly always out: 95 % less 1.6 standard errors of 50 rigs
    assert np.mean(inside) > 0.9
    # 95 % of normal scatter lies within 3.92 standard deviations; a band ends on whole counts
    assert np.mean(widths) < 2.0 * 3.92 * np.sqrt(np.mean(off)) + 2.0
