"""Pure signal mathematics on arrays: no device, file, clock, thread or setting."""
