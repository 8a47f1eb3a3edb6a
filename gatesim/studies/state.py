"""A state file, so that a study killed at any moment goes on where it was."""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.errors import InputError
from gatesim.ground.files import Target, reason
from gatesim.studies.block import Block, FormulaSummary, Levels, Scatter, Summary
from gatesim.studies.levels import NestedSums
from gatesim.studies.model import Model, layout_of
from gatesim.studies.moments import Moments
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankSummary

FORMAT = 4
Stored = dict[str, NDArray[Any]]


def _header(model: Model, plan: Plan) -> dict[str, Any]:
    return {"format": FORMAT, "model": model.identity, **asdict(plan)}


def _pack_moments(m: Moments) -> NDArray[np.float64]:
    return np.array([m.count, m.mean, m.m2, m.m3, m.m4])


def _unpack_moments(stored: NDArray[np.float64]) -> Moments:
    return Moments(int(stored[0]), *(float(v) for v in stored[1:]))


def _pack_scatter(s: Scatter) -> NDArray[np.float64]:
    return np.vstack([np.full_like(s.mean, s.count), s.mean, s.m2])


def _unpack_scatter(rows: NDArray[Any]) -> Scatter:
    return Scatter(rows[1].copy(), rows[2].copy(), int(rows[0, 0]))


def _pack_levels(key: str, levels: Levels) -> Stored:
    return {
        f"{key}/sums": levels.sums.values,
        f"{key}/calibrated": _pack_moments(levels.calibrated),
        f"{key}/calibrated_sums": levels.calibrated_sums.values,
        f"{key}/good_squares": np.array(levels.good_squares),
    }


def _unpack_levels(key: str, stored: Mapping[str, NDArray[Any]]) -> Levels:
    return Levels(
        NestedSums(stored[f"{key}/sums"]),
        _unpack_moments(stored[f"{key}/calibrated"]),
        NestedSums(stored[f"{key}/calibrated_sums"]),
        float(stored[f"{key}/good_squares"]),
    )


def _pack_formula(key: str, f: FormulaSummary) -> Stored:
    used = np.flatnonzero(f.ranks.count)
    return {
        **_pack_levels(f"{key}/levels", f.levels),
        f"{key}/moments": _pack_moments(f.moments),
        f"{key}/good": np.array(f.good),
        f"{key}/knots": f.ranks.knots,
        f"{key}/cell": used,
        f"{key}/count": f.ranks.count[used],
        f"{key}/low": f.ranks.low[used],
        f"{key}/high": f.ranks.high[used],
        f"{key}/scatter": _pack_scatter(f.scatter),
        f"{key}/level_scatter": _pack_scatter(f.level_scatter),
    }


def _unpack_formula(key: str, stored: Mapping[str, NDArray[Any]]) -> FormulaSummary:
    ranks = RankSummary(stored[f"{key}/knots"])
    used = stored[f"{key}/cell"]
    ranks.count[used] = stored[f"{key}/count"]
    ranks.low[used] = stored[f"{key}/low"]
    ranks.high[used] = stored[f"{key}/high"]
    return FormulaSummary(
        _unpack_moments(stored[f"{key}/moments"]),
        ranks,
        _unpack_scatter(stored[f"{key}/scatter"]),
        int(stored[f"{key}/good"]),
        _unpack_levels(f"{key}/levels", stored),
        _unpack_scatter(stored[f"{key}/level_scatter"]),
    )


def save(path: Path, model: Model, plan: Plan, summary: Summary, waiting: Mapping[int, Block]) -> None:
    """Replace the state file in one step: at any moment the old or the new one is there, whole.

    ``waiting`` holds blocks that are done but whose predecessors are not.
    """
    header = _header(model, plan) | {
        "blocks": summary.blocks,
        "trials_done": summary.trials,
        "formulas": list(summary.formulas),
        "waiting": {index: list(block.errors) for index, block in waiting.items()},
    }
    arrays: Stored = {
        "header": np.array(json.dumps(header)),
        "outcomes": summary.outcomes,
        "outcome_squares": summary.outcome_squares,
        "true_length": _pack_moments(summary.true_length),
    }
    for name, formula in summary.formulas.items():
        arrays |= _pack_formula(f"formula/{name}", formula)
    for index, block in waiting.items():
        arrays[f"waiting/{index}/outcomes"] = block.outcomes
        arrays[f"waiting/{index}/outcome_squares"] = block.outcome_squares
        arrays[f"waiting/{index}/true_length"] = _pack_moments(block.true_length)
        arrays |= {f"waiting/{index}/errors/{name}": e for name, e in block.errors.items()}
        arrays |= {f"waiting/{index}/good/{name}": np.array(count) for name, count in block.good.items()}
        for name, levels in block.levels.items():
            arrays |= _pack_levels(f"waiting/{index}/levels/{name}", levels)
    arrays["digest"] = _digest(arrays)
    with Target(path, "state file").writing() as file:
        np.savez(file, **arrays)  # type: ignore[arg-type]  # the stub takes a keyword for an array


def _digest(arrays: Mapping[str, NDArray[Any]]) -> NDArray[np.uint8]:
    """Of all arrays with their names, so that a file that was altered is not gone on from."""
    found = blake2b(digest_size=16)
    for name in sorted(arrays):
        array = np.ascontiguousarray(arrays[name])
        found.update(f"{name} {array.dtype.str} {array.shape}".encode())
        found.update(array.tobytes())
    return np.frombuffer(found.digest(), np.uint8)


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Keep a state file to one process at a time. Raises InputError where another one has it."""
    from filelock import FileLock, Timeout  # deferred: only a study with a state file needs it

    lock = FileLock(path.with_name(f".{path.name}.lock"))
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise InputError(
            f"{path}: given as the state file, but another study is writing it, expected a name of its own"
        ) from None
    except OSError as error:
        raise InputError(f"{path}: the state file cannot be written ({reason(error)})") from None
    try:
        yield
    finally:
        lock.release()


def _unlike(key: str, found: Any, expected: Any) -> str:
    """What a file belongs to instead, in the words of whoever asked for a study."""
    if key == "model":
        return "another scenario"
    if key == "quasi":
        drawn = ("pseudo-random trials (--pseudo-random)", "Sobol points (--sobol)")
        return f"{drawn[bool(found)]}, not {drawn[bool(expected)]}"
    return f"{key} {found!r}, not {expected!r}"


def _check(path: Path, header: Mapping[str, Any], wanted: Mapping[str, Any]) -> None:
    for key, expected in wanted.items():
        if (found := header.get(key)) != expected:
            raise InputError(
                f"{path}: this state file belongs to a study with {_unlike(key, found, expected)}; "
                "give the arguments it was started with, or name another file"
            )


def load(path: Path, model: Model, plan: Plan) -> tuple[Summary, dict[int, Block]]:
    """Read a state file; a fresh summary if there is none.

    Raises InputError if the file is no state file, or belongs to another study.
    """
    if not path.exists():
        return Summary(plan.coverage, layout_of(model)), {}
    try:
        with np.load(path, allow_pickle=False) as file:
            stored = {key: file[key] for key in file.files}
        if not np.array_equal(stored.pop("digest"), _digest(stored)):
            raise ValueError("not as it was written")
        header = dict(json.loads(str(stored["header"])))
        _check(path, header, _header(model, plan))
        return _unpack(header, stored, model, plan)
    except OSError as error:
        raise InputError(f"{path}: the state file cannot be read ({reason(error)})") from None
    except InputError:
        raise
    except Exception:  # whatever a wrong or crafted file leads to
        raise InputError(
            f"{path}: given as a state file, but it cannot be read as one, expected what a study has written"
        ) from None


def _unpack(
    header: Mapping[str, Any], stored: Stored, model: Model, plan: Plan
) -> tuple[Summary, dict[int, Block]]:
    summary = Summary(
        plan.coverage,
        layout_of(model),
        header["blocks"],
        header["trials_done"],
        {name: _unpack_formula(f"formula/{name}", stored) for name in header["formulas"]},
        stored["outcomes"],
        stored["outcome_squares"],
        _unpack_moments(stored["true_length"]),
    )
    waiting = {
        int(index): Block(
            {name: stored[f"waiting/{index}/errors/{name}"] for name in names},
            {name: int(stored[f"waiting/{index}/good/{name}"]) for name in names},
            {name: _unpack_levels(f"waiting/{index}/levels/{name}", stored) for name in names},
            stored[f"waiting/{index}/outcomes"],
            stored[f"waiting/{index}/outcome_squares"],
            _unpack_moments(stored[f"waiting/{index}/true_length"]),
        )
        for index, names in header["waiting"].items()
    }
    return summary, waiting
