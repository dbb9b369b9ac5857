"""What all pages share: the base page, the style, the shared script, words and number formats."""
