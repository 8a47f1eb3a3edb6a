"""One passage with every draw at its median, and what happened in words."""
