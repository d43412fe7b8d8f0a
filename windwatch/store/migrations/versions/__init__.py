"""One file a step, in order; a published step is never changed."""
