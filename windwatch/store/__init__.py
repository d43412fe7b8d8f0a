"""What must not be lost."""
