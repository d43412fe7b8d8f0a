"""Pictures from facts: SVG text from pure functions, each with words that say the same."""
