"""Self-check: everything the monitor needs, looked at part by part."""
