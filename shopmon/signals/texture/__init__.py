"""Periodic marks in a picture: flattening, lines of the two-dimensional spectrum, how certain they are."""
