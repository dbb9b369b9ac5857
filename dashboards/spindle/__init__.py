"""The page *Spindle*."""
