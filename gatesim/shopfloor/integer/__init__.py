"""A length formula in integer arithmetic: one list of steps, from which everything else is made.

`program` defines the steps; `machine` runs them, `bounds` proves that nothing overflows
and bounds the rounding error, `structuredtext` prints them; `forms` writes them for each
formula.
"""
