"""Roughness of a measured profile, and what geometry alone would have left."""
