"""Invented shifts on an invented machine, to measure how well a program is followed by ear."""
