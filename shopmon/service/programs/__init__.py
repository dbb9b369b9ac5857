"""NC programs: loaded, followed by ear, and the cuts credited by them."""
