"""The page on which devices are paired and controllers get their keys."""
