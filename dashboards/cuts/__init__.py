"""The pages *Cuts*: the log of cuts and one plain page per cut."""
