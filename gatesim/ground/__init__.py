"""What every stage stands on: arrays, quantities, draws, distributions, transitions, outcomes, errors."""
