"""How fast the spindle turns: searched, followed, or told by a tachometer."""
