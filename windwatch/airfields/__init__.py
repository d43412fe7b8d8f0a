"""The world's airfields by identifier: positions, runways and their true headings.

A table made from open data, packed with the program (`table`), the figures of a runway held
against each other (`crosscheck`), and the same as text for a configuration (`config_text`).
What disagrees is called doubtful and shown with both figures; nothing is chosen in silence.
"""
