"""A length formula in integer arithmetic for a controller: built and proved, tried out, and printed."""
