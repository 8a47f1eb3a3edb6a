"""A prediction, or several side by side, as text for the terminal."""

from collections.abc import Sequence
from textwrap import fill

from tabulate import tabulate

from gatesim.prediction.devices import Device
from gatesim.prediction.predict import Crossing, Prediction, Reading
from gatesim.view.lengthunit import MM, LengthUnit

WIDTH = 100


def _fixed(value: float | None, scale: float, digits: int) -> str:
    return "-" if value is None else f"{scale * value:.{digits}f}"


def _gate_row(crossing: Crossing, devices: Sequence[Device], unit: LengthUnit) -> list[str]:
    at = [device.gates[crossing.gate - 1] for device in devices]
    return [
        str(crossing.gate),
        unit.fixed(crossing.position_m, 1),
        _fixed(crossing.front_s, 1e3, 3),
        _fixed(crossing.front_speed_m_per_s, 1.0, 4),
        *(_fixed(each.front_force_N, 1.0, 3) for each in at),
        _fixed(crossing.rear_s, 1e3, 3),
        _fixed(crossing.rear_speed_m_per_s, 1.0, 4),
        *(_fixed(each.rear_force_N, 1.0, 3) for each in at),
    ]


def _reading_row(reading: Reading, unit: LengthUnit) -> list[str]:
    note = reading.needs if not reading.reason else f"none: {unit.said(reading.reason)}"
    return [reading.formula, unit.fixed(reading.length_m, 3), unit.signed(reading.error_m, 3), note]


def single(prediction: Prediction, unit: LengthUnit = MM) -> str:
    """One rig: outcome and reason, the gates, the counts and every formula's reading."""
    acting = [device for device in prediction.devices if device.gates]
    forces = [f"{device.key} N" for device in acting]
    gates = tabulate(
        [_gate_row(crossing, acting, unit) for crossing in prediction.crossings],
        ["gate", f"at {unit.name}", "front ms", "m/s", *forces, "rear ms", "m/s", *forces],
        disable_numparse=True,
        colalign=("right",) * (6 + 2 * len(forces)),
    )
    counts = ", ".join(
        f"{key.replace('_', ' ')} {'-' if value is None else value}"
        for key, value in prediction.counts.items()
    )
    readings = tabulate(
        [_reading_row(reading, unit) for reading in prediction.readings],
        ["formula", f"reading {unit.name}", f"error {unit.name}", "needs from the controller"],
        disable_numparse=True,
        colalign=("left", "right", "right", "left"),
    )
    length = f"{unit.fixed(prediction.true_length_m, 3)} {unit.name}"
    return "\n".join(
        [
            f"{prediction.scenario}  ({prediction.file})",
            f"true length {length}, outcome: {prediction.outcome}",
            fill(unit.said(prediction.explanation), WIDTH),
            *(fill(unit.said(device.words), WIDTH) for device in prediction.devices),
            "",
            gates,
            "",
            f"counts: {counts}",
            "",
            readings,
        ]
    )


def _best(prediction: Prediction) -> Reading | None:
    known = [reading for reading in prediction.readings if reading.error_m is not None]
    return min(known, key=lambda reading: abs(reading.error_m or 0.0), default=None)


def side_by_side(predictions: Sequence[Prediction], unit: LengthUnit = MM) -> str:
    """Several rigs side by side: the formula in charge, and the one that comes closest."""
    rows = []
    for number, p in enumerate(predictions, start=1):
        charge, best = p.readings[0], _best(p)
        rows.append(
            [
                str(number),
                p.scenario,
                p.outcome,
                unit.fixed(p.true_length_m, 2),
                _fixed(p.crossings[0].front_speed_m_per_s, 1.0, 3),
                str(p.counts["dwell"] if p.counts["dwell"] is not None else "-"),
                str(p.counts["capture"] if p.counts["capture"] is not None else "-"),
                charge.formula,
                unit.fixed(charge.length_m, 2),
                unit.signed(charge.error_m, 3),
                "-" if best is None else f"{best.formula} {unit.signed(best.error_m, 3)}",
            ]
        )
    table = tabulate(
        rows,
        [
            "",
            "rig",
            "outcome",
            f"true {unit.name}",
            "m/s at 1",
            "dwell",
            "capture",
            "in charge",
            f"reads {unit.name}",
            f"off {unit.name}",
            f"closest, off {unit.name}",
        ],
        disable_numparse=True,
        colalign=("right", "left", "left", *("right",) * 4, "left", "right", "right", "left"),
        maxcolwidths=[None, 30, 14, None, None, None, None, None, None, None, None],
    )
    reasons = [
        fill(f"{number}. {unit.said(p.explanation)}", WIDTH, subsequent_indent="   ")
        for number, p in enumerate(predictions, start=1)
    ]
    return "\n".join([table, "", *reasons])
