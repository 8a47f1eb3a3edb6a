"""Monte Carlo, sweeps, budget, explanation, choice of a rig."""
