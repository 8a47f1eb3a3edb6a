"""A fit as plain data for JSON, SI throughout."""

from dataclasses import asdict
from typing import Any

import numpy as np

from gatesim.shopfloor.fit.fit import Fit
from gatesim.study.export import Json, number


def fit_json(result: Fit) -> Json:
    """Every figure of the text report, unrounded."""
    rows, adequacy, apart = result.rows, result.adequacy, result.separability
    parameters = result.forward.parameters
    return {
        "log": {
            "file": rows.log.path,
            "rows": len(rows.log),
            "fitted": int(result.cells.count.sum()),
            "held_out": int((rows.held_out & ~result.odd.outliers).sum()),
            "set_apart": [{"line": bad.line, "reason": bad.reason} for bad in result.apart],
            "columns_not_used": list(rows.log.ignored),
        },
        "converged": result.minimum.converged,
        "quantities": [
            {
                "name": p.name,
                "unknown": p.unknown,
                "scenario": p.nominal,
                "prior_standard_uncertainty": number(p.prior),
                "estimate": float(x),
                "standard_uncertainty": number(float(u)),
            }
            for p, x, u in zip(parameters, result.estimate, result.std, strict=True)
        ],
        "covariance": _plain(result.covariance),
        "varies": list(result.forward.varies),
        "lengths": [
            {"reference": number(float(known)), "length": float(x), "standard_uncertainty": float(u)}
            for known, x, u in zip(rows.known, result.lengths, result.length_std, strict=True)
        ],
        "separability": {
            "singular_values": _plain(apart.values),
            "directions": _plain(apart.directions),
            "rank": apart.rank,
            "correlation": _plain(apart.correlation),
        },
        "further_measurements": [_plain(asdict(extra)) for extra in result.extras],
        "adequacy": {"describes": adequacy.describes, **_plain(asdict(adequacy))},
        "residuals": _plain(result.residual),
        "corrections": [_plain(asdict(correction)) for correction in result.corrections],
        "notes": list(result.notes),
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    return number(value) if isinstance(value, float) else value
