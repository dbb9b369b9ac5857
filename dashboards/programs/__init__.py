"""The page *Programs*: load one, follow it, say which tools its numbers are, confirm whose cuts were."""
