"""Sensors: what full scale means, what they may be asked, how their clocks run."""
