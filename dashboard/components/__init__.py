"""dashboard/components."""
