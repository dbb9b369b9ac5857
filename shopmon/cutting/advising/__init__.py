"""Which way to turn, and by how much: from one chatter line, from modes, and from past cuts."""
