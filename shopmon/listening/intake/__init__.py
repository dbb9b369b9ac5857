"""Sound as it is delivered: hops of one size, levels, channels made one, what the input cannot tell."""
