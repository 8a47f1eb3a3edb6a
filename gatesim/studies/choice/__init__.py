"""Choice of a rig: candidates, screening by physics, ranking by simulation, refinement, comparison."""
