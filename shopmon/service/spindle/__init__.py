"""The spindle check: one run, a guided check, and its trend over months."""
