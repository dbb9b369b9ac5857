"""Chatter or not: strays, their families, clues, evidence summed over time, the verdict."""
