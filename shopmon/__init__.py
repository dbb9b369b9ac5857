"""shopmon listens to a milling machine and tells chatter from the honest sound of the teeth."""

__version__ = "0.1.0"
