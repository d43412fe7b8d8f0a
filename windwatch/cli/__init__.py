"""The commands: thin."""
