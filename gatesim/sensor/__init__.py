"""The light gate: beam, switching, response."""
