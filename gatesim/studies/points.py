"""Whether scrambled Sobol points suit a model, told by a few pseudo-random trials of it."""

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Streams
from gatesim.ground.nested import Nested
from gatesim.studies.draws import Drawn, Recorder, assign_dimensions
from gatesim.studies.model import Model, layout_of, levels_of, run

PILOT = 64
"""Rigs that are tried. Their seed is always the same, since it is the model that is judged."""

DISTINCT = 0.5
"""Share of the readings that must differ from one another: ends of intervals jump where few do."""

OTHERWISE = 0.1
"""Share of the trials that may turn out otherwise than most do."""


LEAST_POINTS = 1024
"""Fewer trials than that are too few for points in replicates."""


def takes_points(model: Model, drawn: Drawn, trials: int) -> bool:
    """Whether a study of so many trials that is not told is on Sobol points."""
    return trials >= LEAST_POINTS and sobol_suits(model, drawn)


def sobol_suits(model: Model, drawn: Drawn) -> bool:
    """Whether a study gains by Sobol points, and their errors hold; ``drawn`` as `names_drawn` has it.

    Every draw needs a coordinate, so none may come by chance only, or in varying number; a reading must
    not be one of few values; and few trials may turn out otherwise than the others.
    """
    layout = layout_of(model)
    recorder = Recorder(Streams(0, 0, PILOT))
    tried = run(model, Nested(recorder, layout, levels_of(model), PILOT * layout.each))
    if recorder.used != drawn or len(assign_dimensions(drawn, each=layout.each)) < len(drawn):
        return False
    if int(np.bincount(tried.outcome).max()) < (1.0 - OTHERWISE) * tried.outcome.size:
        return False
    return all(_differ(errors) for errors in tried.errors().values())


def _differ(errors: Array) -> bool:
    read = errors[~np.isnan(errors)]
    return int(np.unique(read).size) >= DISTINCT * max(read.size, 1)
