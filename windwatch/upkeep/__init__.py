"""Watching the watcher: the clock, gaps, troubles, the heartbeat, health and metrics."""
