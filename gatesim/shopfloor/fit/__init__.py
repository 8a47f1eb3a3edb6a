"""Estimating a rig's unknown quantities from a log of its counts."""
