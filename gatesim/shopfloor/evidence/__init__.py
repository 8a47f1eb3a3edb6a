"""What gatesim claims, held against published values on the machine at hand.

A topic is one file with a table ``CHECKS``; a new check is one entry there. `TOPICS` lists the
topics in the order of the measuring chain. The tests read the same tables.
"""

TOPICS = {
    "motion": "Motion",
    "magnets": "Magnet brakes",
    "sensing": "Beam, receiver and input filter",
    "counting": "Counter",
    "formulas": "Length formulas and facts of the trade",
    "uncertainty": "Uncertainty",
    "capability": "Capability, decisions and integer arithmetic",
}
"""Module of this folder -> heading."""
