"""A fit as plain data for JSON, SI throughout."""

from dataclasses import asdict

from gatesim.ground.data import Json, number
from gatesim.ground.data import data_of as flattened
from gatesim.shopfloor.fit.result import Fit
from gatesim.shopfloor.fit.verdict import verdict


def fit_json(result: Fit) -> Json:
    """Every figure of the text report, unrounded."""
    rows, adequacy, apart = result.rows, result.adequacy, result.separability
    parameters = result.forward.parameters
    return {
        "log": {
            "file": rows.log.path,
            "rows": len(rows.log),
            "fitted": int(result.cells.count.sum()),
            "held_out": result.held_out,
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
        "covariance": flattened(result.covariance),
        "varies": list(result.forward.varies),
        "lengths": [
            {"reference": number(float(known)), "length": float(x), "standard_uncertainty": float(u)}
            for known, x, u in zip(rows.known, result.lengths, result.length_std, strict=True)
        ],
        "separability": {
            "singular_values": flattened(apart.values),
            "directions": flattened(apart.directions),
            "rank": apart.rank,
            "correlation": flattened(apart.correlation),
        },
        "further_measurements": [flattened(asdict(extra)) for extra in result.extras],
        "verdict": list(verdict(result)),
        "adequacy": {"describes": adequacy.describes, "holds": adequacy.holds, **flattened(asdict(adequacy))},
        "residuals": flattened(result.residual),
        "corrections": [flattened(asdict(correction)) for correction in result.corrections],
        "notes": list(result.notes),
    }
