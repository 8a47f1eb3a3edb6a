"""Figures, report and tables."""
