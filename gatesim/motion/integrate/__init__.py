"""The equation of motion, integrated over position for many trials at once."""
