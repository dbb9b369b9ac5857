"""What the page *Speeds* and `shopmon speeds` ask: advice, what was learned, one chatter, a wall."""
