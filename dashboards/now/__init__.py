"""The page *Now*: what the machine is doing at this moment."""
