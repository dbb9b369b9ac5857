"""How well chatter is told from everything else, on simulated cuts of known truth."""
