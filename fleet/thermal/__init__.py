"""thermal."""
