"""The page *Tap test*."""
