"""The engine: blocks in, frames, cuts and events out. It knows no device, database or clock."""
