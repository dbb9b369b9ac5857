"""Accelerometers that the Linux kernel drives: the Industrial I/O (IIO) subsystem."""
