"""Findings over time: the state machine and its steps."""
