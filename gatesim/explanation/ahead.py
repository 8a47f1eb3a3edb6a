"""What an explanation asks of the motion, known ahead, so that one batch answers most of it."""

from gatesim.chain.remembered import Remembered
from gatesim.explanation.proposal import expect_references
from gatesim.prediction.devices import expect_devices
from gatesim.scenario.model import Scenario
from gatesim.studies.best import expect_best


def looking_ahead(scenario: Scenario) -> Remembered:
    """A motion for an explanation or a report of this scenario, with what both will ask of it."""
    move = Remembered()
    for expect in (expect_references, expect_devices, expect_best):
        expect(scenario, move)
    return move
