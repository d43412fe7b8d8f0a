"""Steps to words for people, and to payloads for machines."""
