"""The board: pages that people look at, and the same as JSON."""
