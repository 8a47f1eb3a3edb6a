"""Magnet brakes: from magnets and a conductor to the drag at any speed and position."""
