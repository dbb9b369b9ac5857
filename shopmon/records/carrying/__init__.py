"""Data out and in: the archive ``shopmon.export/1``, made from a data folder taken into one; backups."""
