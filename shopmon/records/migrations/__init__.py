"""How the database came to be, step by step; forward only, and no step drops what was recorded."""
