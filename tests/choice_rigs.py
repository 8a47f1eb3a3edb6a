"""Files for the search of a rig, as tables; their numbers are invented and serve as input only."""

from pathlib import Path

from gatesim.studies.choice.model import choice_of

CHUTE = {
    "part": {"length": "120 mm", "mass": "200 g"},
    "path": {"slope": "30 deg"},
    "gate": {"first": "200 mm", "spacing": "80 mm", "rearm": "500 mm"},
    "counter": {"frequency": "10 MHz"},
    "formula": {"use": ["spacing-dwell"]},
}


def table(wanted=None, base=CHUTE, **tables):
    asked = {"shortest": "60 mm", "longest": "200 mm", "lengths": 3, "tolerance": "0.5 mm"}
    return {"base": base, "wanted": {**asked, **(wanted or {})}, **tables}


def choice(wanted=None, base=CHUTE, **tables):
    return choice_of(table(wanted, base, **tables), Path())
