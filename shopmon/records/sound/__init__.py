"""Recordings and the rolling buffer on disk: written, filed, labelled, removed when space runs short."""
