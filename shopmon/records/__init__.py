"""What is kept: database, recordings on disk, retention. No analysis."""
