"""Hits and what rings after them: frequency responses, decays, modes."""
