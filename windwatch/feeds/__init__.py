"""Where reports come from: one file a kind of source, one HTTP client for all."""
