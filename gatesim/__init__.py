"""Physics simulator of parts passing light gates, and the length a counter makes of it."""
