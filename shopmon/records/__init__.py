"""What is kept: the database, the recordings on disk, what is removed when space runs short. No analysis."""
