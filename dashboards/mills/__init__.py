"""End mills and other tools: cards, a page per tool, labels to print."""
