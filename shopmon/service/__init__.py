"""Wires capture, listening and records to the live feed; owns threads and shutdown."""
