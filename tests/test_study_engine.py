"""The same study gives the same bits, however it is run, interrupted and resumed."""

import math
import os
import pickle
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gatesim.ground.distribution import Normal
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity
from gatesim.studies.block import run_blocks
from gatesim.studies.engine import study
from gatesim.studies.model import Trials
from gatesim.studies.moments import Moments
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankSummary, curve_of
from gatesim.studies.state import load
from gatesim.studies.until import Until
from gatesim.studies.workers import InThisProcess
from tests.study_models import END_GAUGE, MASS, FormulaModel, additive, unit_rectangular

HERE = Path(__file__).parent


def bits(result) -> bytes:
    """Everything of a result, bit for bit."""
    formulas = {
        name: (f.curve.ranks.tobytes(), f.curve.values.tobytes(), repr(replace(f, curve=None)))
        for name, f in result.formulas.items()
    }
    return pickle.dumps((result.trials, formulas, result.outcomes, result.true_length, result.ended))


@pytest.mark.long
@pytest.mark.parametrize("quasi", [False, True])
def test_same_bits_on_one_process_on_two_and_on_threads(quasi):
    plan = Plan(trials=123_456, seed=7, quasi=quasi)
    alone = study(MASS, plan, workers=1)
    assert bits(study(MASS, plan, workers=2)) == bits(alone)
    with ThreadPoolExecutor(3) as threads:
        assert bits(study(MASS, plan, executor=threads)) == bits(alone)
    assert bits(study(MASS, replace(plan, seed=8), workers=1)) != bits(alone)


@pytest.mark.long
def test_same_bits_on_a_dask_cluster():
    distributed = pytest.importorskip("distributed")
    plan = Plan(trials=100_000, seed=7)
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        assert bits(study(MASS, plan, executor=client.get_executor())) == bits(study(MASS, plan, workers=1))


@pytest.mark.long
def test_adaptive_stop_is_the_same_whatever_the_workers():
    plan = Plan(trials=5_000_000, until=Until(relative=0.01))
    assert bits(study(MASS, plan, workers=2)) == bits(study(MASS, plan, workers=1))


RESUMED = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from tests.study_models import MASS
from gatesim.studies.engine import study
from gatesim.studies.workers import InThisProcess
from gatesim.studies.plan import Plan
study(MASS, Plan(trials={trials}, seed=3), workers={workers}, state_file=Path({state!r}))
"""


@pytest.mark.long
@pytest.mark.parametrize("workers", [1, 2])
def test_killed_study_goes_on_and_ends_with_the_same_bits(tmp_path, workers):
    trials = 2_000_000
    state = tmp_path / "study.state"
    script = RESUMED.format(tests=str(HERE), trials=trials, workers=workers, state=str(state))
    environment = os.environ | {"PYTHONPATH": str(HERE.parent)}
    kills = 0
    for wait in (0.02, 0.1, 0.05):
        process = subprocess.Popen([sys.executable, "-c", script], env=environment, start_new_session=True)
        before = state.stat().st_mtime_ns if state.exists() else 0
        deadline = time.monotonic() + 60.0
        while process.poll() is None and time.monotonic() < deadline:
            if state.exists() and state.stat().st_mtime_ns != before:
                break
            time.sleep(0.001)
        time.sleep(wait)
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)  # a process group of its own: workers too
            kills += 1
        process.wait()
    assert kills, "the study was over before it could be killed; the test proves nothing"
    plan = Plan(trials=trials, seed=3)
    resumed = study(MASS, plan, workers=1, state_file=state)
    assert bits(resumed) == bits(study(MASS, plan, workers=1))


def test_state_file_is_kept_up_after_every_block(tmp_path):
    calls = 0

    def power_fails_in_the_fifth_block(values):
        nonlocal calls
        calls += 1
        if calls == 5:
            raise ConnectionError
        return values["x"]

    model = FormulaModel({"x": Quantity(0.0, spread=Normal(1.0))}, power_fails_in_the_fifth_block)
    plan = Plan(trials=100_000)
    with pytest.raises(ConnectionError):
        study(model, plan, executor=InThisProcess(), state_file=tmp_path / "study.state")
    summary, waiting = load(tmp_path / "study.state", model, plan)
    assert summary.blocks == 4
    assert not waiting
    resumed = study(model, plan, executor=InThisProcess(), state_file=tmp_path / "study.state")
    assert bits(resumed) == bits(study(model, plan, executor=InThisProcess()))


def test_foreign_or_broken_state_file_is_refused_in_one_sentence(tmp_path):
    state = tmp_path / "study.state"
    plan = Plan(trials=20_000)
    study(MASS, plan, workers=1, state_file=state)
    with pytest.raises(InputError, match="seed 1, not 2"):
        study(MASS, replace(plan, seed=2), state_file=state)
    with pytest.raises(InputError, match=r"pseudo-random trials \(--pseudo-random\), not Sobol points"):
        study(MASS, replace(plan, quasi=True), state_file=state)
    with pytest.raises(InputError, match="another scenario"):
        study(replace(MASS, identity="other"), plan, state_file=state)
    state.write_bytes(state.read_bytes()[:100])
    with pytest.raises(InputError, match="cannot be read as one"):
        study(MASS, plan, state_file=state)


def test_ctrl_c_returns_what_was_reached():
    calls = 0

    def interrupting(values):
        nonlocal calls
        calls += 1
        if calls == 3:
            os.kill(os.getpid(), signal.SIGINT)
        return values["x"]

    model = FormulaModel({"x": Quantity(0.0, spread=Normal(1.0))}, interrupting)
    result = study(model, Plan(trials=1_000_000), executor=InThisProcess())
    assert result.ended == "interrupted"
    assert result.trials == 30_000


STOPPED = """
import sys, time
sys.path.insert(0, {tests!r})
from tests.study_models import MASS
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
class Slow(type(MASS)):
    def evaluate(self, values, draw, *, quantised=True):
        time.sleep(0.02)
        return super().evaluate(values, draw, quantised=quantised)
plan = Plan(trials=1_000_000_000)
blocks = []
def taken(trials):
    blocks.append(trials)
    if len(blocks) == 1:
        print("begun", flush=True)
result = study(Slow(MASS.inputs, MASS.formula), plan, workers=2, sink=taken)
print(result.ended, result.trials == 10_000 * len(blocks))
"""


@pytest.mark.long
def test_ctrl_c_at_a_terminal_stops_the_workers_and_returns_what_was_reached():
    process = subprocess.Popen(
        [sys.executable, "-c", STOPPED.format(tests=str(HERE))],
        env=os.environ | {"PYTHONPATH": str(HERE.parent)},
        start_new_session=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline() == "begun\n"
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the workers as well
    output, problems = process.communicate(timeout=30)
    assert process.returncode == 0
    assert problems == ""
    assert output == "interrupted True\n"


def test_sink_sees_every_trial_in_order():
    seen: list[Trials] = []
    plan = Plan(trials=25_000)
    with ThreadPoolExecutor(2) as threads:
        result = study(MASS, plan, executor=threads, sink=seen.append)
    whole = np.concatenate([t.readings["y"] for t in seen])
    assert whole.size == 25_000
    for index, block in enumerate(seen):
        (again,) = run_blocks(MASS, plan, {}, True, [index])
        assert np.array_equal(block.readings["y"], again.trials.readings["y"])
    assert result.formulas["y"].bias.value == pytest.approx(whole.mean(), rel=1e-12)


def test_merged_moments_equal_those_of_the_whole():
    values = np.random.default_rng(1).gamma(2.0, size=10_001) + 50.0
    merged = Moments()
    for part in np.split(values, [1, 2, 700, 5000]):
        merged = merged.merge(Moments.of(part))
    d = values - values.mean()
    expected = [values.mean(), (d**2).sum(), (d**3).sum(), (d**4).sum()]
    assert [merged.mean, merged.m2, merged.m3, merged.m4] == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("kind", ["normal", "cauchy", "lattice", "two far clusters", "heaps", "constant"])
def test_quantiles_from_bounded_memory_are_as_close_as_they_say(kind):
    rng = np.random.default_rng(5)
    values = {
        "normal": lambda: rng.standard_normal(300_000) * 1e-5 + 0.12,
        "cauchy": lambda: rng.standard_cauchy(300_000),
        "lattice": lambda: np.round(rng.standard_normal(300_000) * 3.0) * 1e-5,
        "two far clusters": lambda: rng.standard_normal(300_000) * 1e-6 + rng.choice([0.0, 1.0], 300_000),
        "heaps": lambda: (
            rng.standard_normal(300_000) * 1e-5 + rng.choice([-1.0, 0.0, 0.5], 300_000, p=[0.03, 0.94, 0.03])
        ),
        "constant": lambda: np.full(300_000, 0.1),
    }[kind]()
    summary = RankSummary()
    for block in np.split(values, 30):
        summary.add(np.sort(block))
    exact, curve = curve_of(np.sort(values)), summary.curve()
    assert curve.count == exact.count == values.size
    for got, want in zip(curve.symmetric(0.95), exact.symmetric(0.95), strict=True):
        assert abs(got - want) <= summary.resolution(want) + 1e-15
        # finer than the quantile itself is known, by its rank's standard error in 300,000 values
        rank, step = int(np.searchsorted(exact.values, want)) + 1, math.sqrt(300_000 * 0.025 * 0.975)
        known = float(np.diff(exact.at(np.array([rank - step, rank + step])))[0]) / 2.0
        assert abs(got - want) <= 0.2 * known + 1e-15
    # and that is little beside the spread the quantiles describe
    low, high = exact.symmetric(0.95)
    if kind == "lattice":
        assert curve.symmetric(0.95) == exact.symmetric(0.95)
    elif kind == "normal":
        assert summary.resolution(low) < 1.5e-3 * (high - low)
    got, want = np.diff(curve.shortest(0.95))[0], np.diff(exact.shortest(0.95))[0]
    assert got == pytest.approx(want, rel=2e-3, abs=1e-15)


def test_values_taken_in_together_are_summed_up_as_one_block_after_the_other():
    rng = np.random.default_rng(6)
    blocks = [np.sort(rng.standard_cauchy(10_000)) for _ in range(30)]
    together, one_by_one = RankSummary(), RankSummary()
    for block in blocks:
        together.add(block)
        one_by_one.add(block)
        assert one_by_one.count.sum() % 10_000 == 0  # to ask takes in what waits
    for key in ("count", "low", "high"):
        assert np.array_equal(getattr(together, key), getattr(one_by_one, key))
    assert together.count.sum() == 300_000


def test_shortest_interval_of_a_skew_distribution():
    # exponential: the shortest 95 % interval starts at 0 and ends at ln 20 (derived)
    u = (np.arange(100_000) + 0.5) / 100_000
    low, high = curve_of(-np.log1p(-u)).shortest(0.95)
    assert low == pytest.approx(0.0, abs=1e-3)
    assert high == pytest.approx(math.log(20.0), rel=1e-3)


def test_sobol_points_find_the_mean_of_a_smooth_model_far_better():
    plain = study(END_GAUGE, Plan(trials=2**16), workers=1).formulas["y"]
    quasi = study(END_GAUGE, Plan(trials=2**16, quasi=True), workers=1).formulas["y"]
    assert quasi.bias.error < plain.bias.error / 10.0
    exact = 50_000_838.0  # the model is linear in every input with the others at their means
    assert quasi.bias.value == pytest.approx(exact, abs=6.0 * quasi.bias.error + 1e-6)


def test_trials_without_reading_are_counted_and_left_out():
    def half_lost(values):
        return np.where(values["x0"] > 0.0, values["x0"], np.nan)

    model = FormulaModel(additive(unit_rectangular()).inputs, half_lost)
    found = study(model, Plan(trials=50_000), workers=1).formulas["y"]
    # uniform on (0, sqrt 3): mean sqrt(3)/2, u = 1/2
    assert abs(found.readings - 25_000) < 6.0 * math.sqrt(12_500)
    assert found.bias.value == pytest.approx(math.sqrt(3.0) / 2.0, abs=6.0 * found.bias.error)
    assert found.uncertainty.value == pytest.approx(0.5, abs=6.0 * found.uncertainty.error)
    never = study(FormulaModel(model.inputs, lambda v: v["x0"] * np.nan), Plan(trials=1000), workers=1)
    assert never.formulas["y"].readings == 0
    assert math.isnan(never.formulas["y"].bias.value)


def test_rig_without_any_spread_has_exactly_no_uncertainty_and_settles_at_once():
    model = FormulaModel({}, lambda values: 0.12)
    result = study(model, Plan(trials=10_000_000, until=Until(digits=2)), workers=1)
    found = result.formulas["y"]
    assert result.ended == "tolerance reached"
    assert (found.bias.value, found.uncertainty.value, found.bias.error) == (0.12, 0.0, 0.0)
    assert found.low.value == found.high.value == found.shortest_low.value == 0.12
