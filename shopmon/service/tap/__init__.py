"""The tap test: live and guided, or from a recording, up to the prior of the learning."""
