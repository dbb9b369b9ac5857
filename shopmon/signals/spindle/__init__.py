"""An idle spindle: vibration at the multiples of its turning, balance, bearings, what a run-up shows."""
