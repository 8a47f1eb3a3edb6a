"""Streams of parts: how fast they may follow one another."""
