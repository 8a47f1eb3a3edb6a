"""Scenario files: TOML text to a validated description of a rig."""

from gatesim.scenario.model import Scenario
from gatesim.scenario.reader import load, parse_text

__all__ = ["Scenario", "load", "parse_text"]
