"""dashboard/figures."""
