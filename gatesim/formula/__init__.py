"""Length formulas: from counts to a reading."""
