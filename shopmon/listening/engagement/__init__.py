"""When a tooth is in metal: contact found, dated, grouped into cuts."""
