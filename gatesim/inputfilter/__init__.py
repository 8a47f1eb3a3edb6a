"""Input filters (debounce) between sensor and counter."""
