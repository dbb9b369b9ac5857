"""The sensors in use: what full scale means, how they are mounted, what they may be asked."""
