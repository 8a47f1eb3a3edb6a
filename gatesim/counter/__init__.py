"""Clock or encoder, gate, capture and re-arm."""
