"""How the store's tables came to be, step by step; run by `windwatch.store.upgrade`."""
