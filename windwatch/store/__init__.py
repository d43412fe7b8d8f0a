"""What must not be lost: reports, episodes, notices and deliveries, in one file."""
