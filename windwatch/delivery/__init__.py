"""How notices leave: one file a channel, and the worker that drains the outbox."""
