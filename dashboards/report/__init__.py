"""Reports to print: a cut or a part on a page of its own that needs nothing from elsewhere."""
