"""Forms of the store, one file a noun."""
