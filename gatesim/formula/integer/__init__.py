"""The language in which a formula writes its integer form: one list of steps, of which all else is made.

`program` defines the steps, `machine` runs them, `bounds` proves that nothing overflows and
bounds the rounding error, `sketch` is what a formula writes on, with the `ranges` of its counts.
"""
