"""The equation of motion and what moves a part."""
