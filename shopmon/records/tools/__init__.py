"""The register of tools: rows, fields, files, and what each tool has cut."""
