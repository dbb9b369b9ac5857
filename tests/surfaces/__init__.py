"""Invented walls with known marks, photographed by an invented camera."""
