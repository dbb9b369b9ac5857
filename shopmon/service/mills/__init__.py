"""End mills: what follows from the one in the spindle, their life, condition, finish and comparison."""
