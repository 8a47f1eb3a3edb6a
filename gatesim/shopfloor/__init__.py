"""From logged counts to a signed-off gauge."""
