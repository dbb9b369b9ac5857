"""Marks on a wall: what a cut should leave, and what a picture or a measured spacing shows."""
