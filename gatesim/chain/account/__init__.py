"""What became of a passage, in words: the outcome, what to note besides, what a formula took for granted."""
